"""Whether two prints are one tune: their tones on the beats, however they are printed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from disc.library.read.likeness import ALIKE, NO_TONE, SURELY_ALIKE, beat_tones, likeness
from disc.library.read.reference import tunes_of_abc

HEAD = "X:1\nT:Air\nM:{}\nL:1/8\nK:{}\n"
# An air of our own: two strains of eight bars.
AIR = (
    "c2 e2|g2 e2|f2 a2|g4|e2 g2|f2 d2|e2 c2|d4|c2 e2|g2 e2|f2 a2|g4|a2 f2|g2 e2|d2 B2|c4|"
    "g2 ag|e2 c2|f2 gf|d2 B2|c2 d2|e2 f2|g2 a2|b4|c'2 b2|a2 g2|f2 a2|g2 e2|f2 d2|e2 c2|B2 d2|c4|"
)
OTHER = (
    "G2 G2|A2 B2|c2 B2|A4|B2 d2|c2 A2|G2 F2|G4|d2 d2|B2 G2|A2 A2|F2 D2|G2 A2|B2 c2|d2 F2|G4|"
    "B2 B2|A2 A2|B2 c2|d4|e2 d2|c2 B2|A2 G2|F4|D2 G2|G2 A2|B2 G2|E4|F2 G2|A2 F2|D2 F2|G4|"
)


def tune(body, metre="2/4", key="C"):
    return tunes_of_abc(HEAD.format(metre, key) + body + "\n", "air.abc", "own")[0]


def test_a_tune_is_itself_and_another_is_not():
    assert likeness(tune(AIR), tune(AIR)) > SURELY_ALIKE
    assert likeness(tune(AIR), tune(OTHER)) < ALIKE


def test_key_and_repeats_do_not_matter():
    air = tune(AIR)
    moved = replace(air, pitch=air.pitch + 5)  # the key signature as before: another tonic
    assert likeness(air, moved) > SURELY_ALIKE
    played_twice = tune("|:" + AIR[: AIR.index("g2 ag")] + ":|" + AIR[AIR.index("g2 ag") :])
    np.testing.assert_array_equal(beat_tones(played_twice), beat_tones(air))


def test_notes_between_the_beats_do_not_matter():
    graced = AIR.replace("c2 e2", "cd ef").replace("f2 d2", "fe dc").replace("g2 e2", "gf ed")
    assert likeness(tune(AIR), tune(graced)) > SURELY_ALIKE


@pytest.mark.parametrize("metre", ["4/4", "3/4"])
def test_the_same_notes_in_other_bars(metre):
    """Two bars printed as one, or bar lines moved: the beats are the same."""
    beats = AIR.replace("4|", "2 z2|").replace("|", " ").split()
    size = 4 if metre == "4/4" else 3
    barred = "|".join(" ".join(beats[at : at + size]) for at in range(0, len(beats), size)) + "|"
    assert likeness(tune(AIR), tune(barred, metre)) > SURELY_ALIKE


def test_tones_are_counted_from_the_tonic_of_the_signature():
    tones = beat_tones(tune("g2 z2|a2 b2|", key="G"))
    np.testing.assert_array_equal(tones[1], [2, 2, 4, 4])
    assert NO_TONE in tones[0]
