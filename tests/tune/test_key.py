"""Keys: profiles against music21's copies, readings against scales anyone can check, words of bad keys."""

from __future__ import annotations

import numpy as np
import pytest
from music21.analysis.discrete import KrumhanslKessler

from disc.errors import BadInput
from disc.records import Key, Metre
from disc.tune.read.key import KRUMHANSL_KESSLER, read_key
from disc.tune.read.model import load_model
from disc.tune.settings import key_name, key_of, parse_key, parse_length, parse_metre


# Krumhansl and Kessler 1982, as printed in Krumhansl 1990 (from memory); music21 10.5 holds an independent copy.
@pytest.mark.parametrize("mode", ["major", "minor"])
def test_profiles_equal_music21s(mode: str) -> None:
    assert list(KRUMHANSL_KESSLER[mode]) == KrumhanslKessler().getWeights(mode)


@pytest.mark.parametrize("shift", range(12))
def test_a_scale_up_and_down_is_in_its_key_wherever_it_lies(shift: int) -> None:
    row = np.array([60, 62, 64, 65, 67, 69, 71, 72, 71, 69, 67, 65, 64, 62, 60, 64, 67, 60], dtype=float) + shift
    found = read_key(row, np.ones(len(row)), np.ones(len(row), bool), load_model().key)[0].key
    assert (found.tonic, found.mode) == (shift, "major")
    assert found.fifths % 12 == (7 * shift) % 12


def test_runner_ups_say_why_they_lost() -> None:
    row = np.array([60, 62, 64, 65, 67, 69, 71, 72, 60, 64, 67, 60], dtype=float)
    keys = read_key(row, np.ones(len(row)), np.ones(len(row), bool), load_model().key)
    assert sum(k.probability for k in keys) == pytest.approx(1.0)
    assert keys[0].why == "" and keys[1].why.startswith("lost by: ")


# Signatures from any primer of notation.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("D", Key(2, "major", 2)),
        ("Bb", Key(10, "major", -2)),
        ("F# minor", Key(6, "minor", 3)),
        ("F#m", Key(6, "minor", 3)),
        ("e dorian", Key(4, "dorian", 2)),
        ("A mixolydian", Key(9, "mixolydian", 2)),
        ("Cb", Key(11, "major", -7)),
    ],
)
def test_keys_in_words(text: str, expected: Key) -> None:
    assert parse_key(text) == expected


@pytest.mark.parametrize(("tonic", "mode", "name"), [(10, "major", "B flat major"), (6, "minor", "F sharp minor")])
def test_key_names(tonic: int, mode: str, name: str) -> None:
    assert key_name(key_of(tonic, mode)) == name


@pytest.mark.parametrize("text", ["H", "", "D sharpish", "G# lydian minor"])
def test_a_bad_key_is_explained(text: str) -> None:
    with pytest.raises(BadInput, match=r"cannot be read\. Write it as D, Bb"):
        parse_key(text)
    with pytest.raises(BadInput, match="would need 10 signs"):
        parse_key("A# major")


def test_metres_and_lengths_in_words() -> None:
    assert parse_metre(" 6/8 ") == Metre(6, 8)
    assert parse_length("1/8") == 0.5
    assert parse_length("0") == 0
    with pytest.raises(BadInput, match="the metre '6:8' cannot be read"):
        parse_metre("6:8")
    with pytest.raises(BadInput, match="the length '1/0' cannot be read"):
        parse_length("1/0")
