"""Each changed note is coloured and named in the MusicXML, each unchanged one left alone; verovio engraves it so."""

from __future__ import annotations

from collections import Counter
from xml.etree import ElementTree

import numpy as np

from disc.design.arranged import NoteChange, asked_tune, fates
from disc.design.marked_score import COLOURS, add_legend, mark_musicxml
from disc.design.plan import plan_design
from disc.design.settings import DesignSettings, MissingPitch
from disc.tune.score.records import Rank
from disc.tune.write.engrave import engrave
from disc.tune.write.musicxml import musicxml_text

from .material import COMBS, make_comb
from .small import PLATE, comb_of, score_of
from .test_arrange import SCALE
from .tunes import choose_tunes


def test_colours_and_words_by_hand() -> None:
    """A scale, a bass two octaves too low, a raised fourth without a tooth: blue with a double arrow, orange."""
    score = score_of([*SCALE, (8.0, 1.0, 66), (8.0, 2.0, 40, Rank.BASS)])
    comb = comb_of([72, 74, 76, 77, 79, 81, 83, 84])
    settings = DesignSettings(missing_pitch=MissingPitch.NEAREST)
    design = plan_design(score, comb, PLATE, settings, transposition=12)
    marked = mark_musicxml(musicxml_text(asked_tune(design)), fates(design))
    notes = ElementTree.fromstring(marked[marked.index("<score-partwise") :]).iter("note")
    found = {(n.get("color"), n.findtext("lyric/text")) for n in notes if n.get("color")}
    assert found == {(COLOURS[NoteChange.HIGHER], "⇑"), (COLOURS[NoteChange.NEAREST], "≈")}


def test_every_fate_is_shown() -> None:
    score = choose_tunes(2, np.random.default_rng(8), in_parts=1.0)[1]
    comb, plate = make_comb(COMBS[0], np.random.default_rng(8))
    design = plan_design(score.between_bars(1, min(6, score.bars[-1].number)), comb, plate, DesignSettings())
    notes = fates(design)
    counts = Counter(fate.change for fate in notes)
    assert len(counts) > 1
    marked = mark_musicxml(musicxml_text(asked_tune(design)), notes)
    root = ElementTree.fromstring(marked[marked.index("<score-partwise") :])
    coloured: dict[str, str] = {}
    for element in root.iter("note"):
        number = (element.get("id") or "").removeprefix("pin-").removesuffix("-held")
        if number.isdigit():
            coloured[number] = element.get("color", "")
    wanted = {str(i + 1): COLOURS.get(fate.change, "") for i, fate in enumerate(notes)}
    assert coloured == wanted
    page = engrave(marked).pages[0]
    assert all(COLOURS[change] in page for change in counts if change is not NoteChange.AS_WRITTEN)
    page = add_legend(page, "A <title> & more", "one line", set(counts))
    ElementTree.fromstring(page)
    assert "A &lt;title&gt; &amp; more" in page and ("left out" in page) == (NoteChange.LEFT_OUT in counts)
