"""The one writer of SVG: elements as text, numbers short, words escaped. After the W3C's SVG 1.1.

Attribute names are Python's: stroke_width writes stroke-width, xml_space xml:space; None is left out. Numbers carry a
tenth of a micrometre where the unit is a millimetre, and no needless zeros.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

Value = str | float | None
_NAMED = {"xml_space": "xml:space", "view_box": "viewBox", "pattern_units": "patternUnits"}
_NAMED |= {"pattern_transform": "patternTransform"}


def number(value: float) -> str:
    """A number to four decimals, without needless zeros."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text


def element(name: str, /, *inner: str, **attributes: Value) -> str:
    """One element; inner: what it holds, as SVG text already."""
    given = "".join(
        f' {_NAMED.get(key, key.replace("_", "-"))}="{_value(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{name}{given}>{''.join(inner)}</{name}>" if inner else f"<{name}{given}/>"


def _value(value: str | float) -> str:
    return escape(value) if isinstance(value, str) else number(value)


def circle(x: float, y: float, r: float, /, *inner: str, **attributes: Value) -> str:
    """A circle about (x, y)."""
    return element("circle", *inner, cx=x, cy=y, r=r, **attributes)


def rect(x: float, y: float, width: float, height: float, /, **attributes: Value) -> str:
    """A rectangle from its upper left corner."""
    return element("rect", x=x, y=y, width=width, height=height, **attributes)


def line(x1: float, y1: float, x2: float, y2: float, /, **attributes: Value) -> str:
    """A straight line."""
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, **attributes)


def path(d: str, /, *inner: str, **attributes: Value) -> str:
    """An outline in path commands."""
    return element("path", *inner, d=d, **attributes)


def points(places: Iterable[tuple[float, float]]) -> str:
    """Places as polygons, polylines and paths count them: x,y x,y."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in places)


def text(x: float, y: float, words: str, /, **attributes: Value) -> str:
    """Words with their base line at (x, y)."""
    return element("text", escape(words), x=x, y=y, **attributes)


def document(
    width: float,
    height: float,
    parts: Iterable[str],
    *,
    unit: str = "",
    view_box: tuple[float, float, float, float] | None = None,
    title: str = "",
    ground: str | None = "#ffffff",
    **attributes: Value,
) -> str:
    """A whole picture. unit: of width and height, "mm" for one true to size; ground: the colour behind everything."""
    x, y, wide, tall = view_box or (0.0, 0.0, width, height)
    box = " ".join(map(number, (x, y, wide, tall)))
    inner = [element("title", escape(title))] if title else []
    inner += [rect(x, y, wide, tall, fill=ground)] if ground else []
    return (
        element(
            "svg",
            "\n",
            "\n".join([*inner, *parts]),
            "\n",
            xmlns="http://www.w3.org/2000/svg",
            version="1.1",
            width=f"{number(width)}{unit}",
            height=f"{number(height)}{unit}",
            view_box=box,
            **attributes,
        )
        + "\n"
    )


def added(page: str, parts: Iterable[str]) -> str:
    """A picture with more drawn on top, at its end. Raises ValueError if the page is no SVG."""
    place = page.rindex("</svg>")
    return page[:place] + "".join(parts) + page[place:]
