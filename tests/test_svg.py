"""The one SVG writer: what it writes is well-formed, in the namespace of the W3C's SVG 1.1, and says what was asked."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

from disc import svg

SVG = "{http://www.w3.org/2000/svg}"  # SVG 1.1 (Second Edition), 1.2 "SVG namespace"
ROOT = Path(__file__).parents[1]


def test_a_picture_true_to_size_with_escaped_words():
    parts = [
        svg.circle(1, 2.00004, 0.5, fill="none", stroke_width=None),
        svg.text(0, 1e-9, "<a & b>", xml_space="preserve"),
    ]
    root = ElementTree.fromstring(svg.document(20, 10.5, parts, unit="mm", title="Nr. <1>"))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("20mm", "10.5mm", "0 0 20 10.5")
    title, ground, ring, words = root
    assert title.text == "Nr. <1>" and ground.attrib["fill"] == "#ffffff"
    assert ring.tag == f"{SVG}circle" and ring.attrib == {"cx": "1", "cy": "2", "r": "0.5", "fill": "none"}
    assert words.text == "<a & b>" and words.attrib["y"] == "0"
    assert words.attrib["{http://www.w3.org/XML/1998/namespace}space"] == "preserve"


def test_something_drawn_on_top_comes_last():
    page = svg.document(4, 4, [svg.rect(0, 0, 1, 1)], ground=None)
    assert [child.tag for child in ElementTree.fromstring(svg.added(page, [svg.line(0, 0, 1, 1)]))] == [
        f"{SVG}rect",
        f"{SVG}line",
    ]


def test_nobody_else_writes_elements():
    written = re.compile(r"(?<![?]P)<(circle|rect|line|path|polyline|polygon|text|svg)[ >/]")
    found = [path.name for path in (ROOT / "disc").rglob("*.py") if written.search(path.read_text(encoding="utf-8"))]
    # The first two move and mark whole engraved pages, the third finds what the engraver wrote of a tempo.
    assert sorted(found) == ["coloured_staves.py", "over_print.py", "tempo_sign.py"]
