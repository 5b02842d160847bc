"""A score given as the disc's tune: its bars are those of the print, and of a book the disc's own tune is taken."""

from __future__ import annotations

from pathlib import Path

import music21
import numpy as np

from disc.check.music.known_file import known_from_file
from disc.check.music.repeats import StrikesHeard, hear
from disc.check.music.which_tune import best_of
from disc.library.read.reference import tunes_of_abc
from disc.records import Comb, Side, Tooth
from disc.turn.bars import BarGrid
from tests.check.making import COMB, STRAIN, strikes, tune

UPBEAT = """X:1
T:An upbeat and three bars
M:2/4
L:1/8
K:C
G|ceGE|ABce|dBGF|
"""


def heard() -> StrikesHeard:
    """What the disc of making.py plays, exactly."""
    return hear(strikes(), BarGrid(tune()), {t.number: int(t.pitch or 0) for t in COMB.teeth})


def test_every_note_knows_the_bar_it_is_printed_in(tmp_path):
    """A finding says "bar 2": a person looks it up on the sheet. The upbeat is bar 0, the first full bar 1."""
    path = tmp_path / "upbeat.abc"
    path.write_text(UPBEAT)
    (tune,) = known_from_file(path)
    assert tune.bar.tolist() == [0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3]
    assert tune.onset_quarter.tolist() == [k / 2 for k in range(13)]
    assert tune.metre == (2, 4)


def abc_of(tunes: list[list[int]]) -> str:
    """Strains by tooth as ABC, eighths, four to a bar; 0 is a rest."""
    names = dict(enumerate(("z", *"cdefgab", "c'")))
    text = []
    for number, teeth in enumerate(tunes, start=1):
        bars = ["".join(names[t] for t in teeth[k : k + 4]) for k in range(0, len(teeth), 4)]
        text.append(f"X:{number}\nT:Tune {number}\nM:2/4\nL:1/8\nK:C\n{'|'.join(bars)}|\n")
    return "\n".join(text)


def test_of_a_book_the_disc_s_own_tune_is_taken(tmp_path):
    """The others are it upside down, from its end, and both: their scale, compass and rhythm tell nothing."""
    upside_down = [9 - t if t else 0 for t in STRAIN]
    others = [upside_down, list(STRAIN[::-1]), upside_down[::-1]]
    own = tmp_path / "book.abc"
    own.write_text(abc_of([others[0], list(STRAIN), *others[1:]]))
    found = best_of(heard(), COMB, known_from_file(own))
    assert found is not None and found[0].title == "Tune 2"


def test_another_tune_is_no_judge():
    """Airs of a printed book laid over each other's discs, which have lost three notes of ten: none is taken, though
    five of these agree in 8 to 20 notes somewhere; each is taken for its own. Source: J. Aird's first book of airs, in
    music21's corpus."""
    book = Path(music21.__file__).parent / "corpus" / "airdsAirs" / "book1.abc"
    airs = [t for t in tunes_of_abc(book.read_text(encoding="utf-8"), book.name, "airs") if t.pitch.size > 40]
    rng = np.random.default_rng(4)
    for k in range(30):
        air, other = airs[k], airs[(k * 7 + 3) % len(airs)]
        left = rng.random(air.pitch.size) > 0.3
        number = {int(pitch): n for n, pitch in enumerate(np.unique(air.pitch), start=1)}
        comb = Comb(tuple(Tooth(n, Side.UPPER, 10.0 - 0.3 * n, pitch=float(p)) for p, n in number.items()))
        t_s, teeth = air.onset_tick[left] / air.onset_tick[-1] * 40.0, [number[int(p)] for p in air.pitch[left]]
        disc = StrikesHeard(t_s, air.pitch[left], np.array(teeth), BarGrid(tune()))
        assert air is other or best_of(disc, comb, [other]) is None, other.title
        assert k % 6 or best_of(disc, comb, [air]) is not None, air.title
