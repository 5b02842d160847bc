"""Measures as people write them, right and wrong; what a number stands for is held against standards."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.errors import BadInput
from disc.measures.angle import angle_deg
from disc.measures.gauges import american_wire_mm, standard_wire_mm
from disc.measures.length import Limits, length_mm, length_within
from disc.measures.number import number_from
from disc.measures.pitch import Names, names_used, pitch_from

# Names and numbers: MIDI 1.0 and ISO 16 (A4 = 440 Hz = 69, C4 = 60); Helmholtz's letters from memory.
PITCHES = {
    "C#5": 73, "c♯5": 73, "Cis5": 73, "Do#5": 73, "do dièse 5": 73, "D♭5": 73, "Des5": 73, "C sharp 5": 73,
    "C#5-14": 72.86, "C#5 −14 c": 72.86, "Cis5 +7,5 ct": 73.075, "La4": 69, "A4": 69, "a'": 69, "Si bémol 4": 70,
    "H4": 71, "B4": 71, "Bb4": 70, "Es5": 75, "As4": 68, "cis''": 73, "c²": 72, "C": None, "440 Hz": 69,
    "554,37 Hz": 73,
    "1.1 kHz": 69 + 12 * math.log2(1100 / 440), "72,86": 72.86, "73": 73, "Ré#6": 87, "B##3": 61, "Fisis4": 67,
}  # fmt: skip
# Lengths: an inch is 25.4 mm (NIST SP 811); no. 80 drill 0.0135 in (ANSI B94.11M); AWG 30 0.2546 mm and AWG 36 0.127 mm
# (ASTM B258); SWG 30 0.0124 in (BS 3737); the Paris line 2.2558 mm. From memory.
LENGTHS = {
    "28": 28, "28,5": 28.5, "28.5 mm": 28.5, "2,85cm": 28.5, "1.1 in": 27.94, '1 1/8"': 28.575, "1-1/8 in": 28.575,
    "11/32 inch": 8.73125, "½ in": 12.7, "1½″": 38.1, "12 thou": 0.3048, "0.012 in": 0.3048, "300 µm": 0.3,
    "#80": 0.3429, "No. 80": 0.3429, "number 80 drill": 0.3429, "30 AWG": 0.2546, "36 AWG": 0.127, "AWG 30": 0.2546,
    "30 SWG": 0.31496, "30 s.w.g.": 0.31496, "12 lignes": 27.0699, "12‴": 27.0699, "28 millimetres": 28,
    "1,1 Zoll": 27.94,
    ".25": 0.25, "1 pouce": 25.4, "5/64 in": 1.984375, "3 mil": 0.0762, "+2.5mm": 2.5,
}  # fmt: skip
ANGLES = {
    "123.4": 123.4, "123,4": 123.4, "123.4°": 123.4, "123°30'": 123.5, "123° 30' 36\"": 123.51, "30'": 0.5,
    "90 deg": 90, "12 deg 15 min": 12.25, "12 Grad 15 Minuten": 12.25, "-5°30'": -5.5, "5 holes of 24": 75,
    "5 Loch von 24": 75, "3 turns 12 holes of 20": 32.4, "3 + 12 holes of 20 at 90:1": 14.4, "1/8 turn": 45,
    "6 trous sur 24": 90,
}  # fmt: skip


@pytest.mark.parametrize("text, midi", [(t, m) for t, m in PITCHES.items() if m is not None])
def test_pitches_as_people_write_them(text, midi):
    assert pitch_from(text) == pytest.approx(midi, abs=6e-4)


@pytest.mark.parametrize("text, mm", LENGTHS.items())
def test_lengths_as_people_write_them(text, mm):
    assert length_mm(text) == pytest.approx(mm, abs=6e-5)


@pytest.mark.parametrize("text, degrees", ANGLES.items())
def test_angles_as_people_write_them(text, degrees):
    assert angle_deg(text) == pytest.approx(degrees, abs=1e-9)


WRONG_PITCHES = {
    "C": "lacks its octave", "Fis": "lacks its octave", "sol": "lacks its octave", "554.4": "554.4 Hz",
    "J5": "not a pitch",
    "C#5-140": "nearer note", "Cis#5": "twice", "C''": "small letter", "3 Hz": "no pitch of a tooth", "": "not a pitch",
    "C#25": "outside", "fa#": "not a pitch", "1/0": "not a pitch", "nan": "not a pitch", "C5 14": "not a pitch",
}  # fmt: skip
WRONG_LENGTHS = {
    "26 gauge": "26 AWG or 26 SWG", "26 g": "AWG or", "#0": "1 to 97", "#120": "1 to 97", "99 AWG": "0 to 40",
    "60 SWG": "0 to",
    "1.234,5": "thousands", "28 m": "not a length", "28 pt": "not a length", "": "not a length",
    "1/0 in": "not a number",
    "28..5": "not a number", "abc": "not a length", "1e9": "far beyond", "28 5": "not a number", "inf": "not a length",
}  # fmt: skip
WRONG_ANGLES = {
    "12°75'": "below 60", "12.5° 30'": "both decimals", "25 holes of 24": "more than the circle",
    "5 holes": "not an angle",
    "99999": "hundred turns", "ten": "not an angle", "5 holes of 0": "1 to 1000", "": "not an angle",
}  # fmt: skip


@pytest.mark.parametrize(
    "read, text, words",
    [
        *((pitch_from, text, words) for text, words in WRONG_PITCHES.items()),
        *((length_mm, text, words) for text, words in WRONG_LENGTHS.items()),
        *((angle_deg, text, words) for text, words in WRONG_ANGLES.items()),
    ],
)
def test_what_is_wrong_is_refused_in_one_line(read, text, words):
    with pytest.raises(BadInput) as caught:
        read(text, "comb.csv line 3: a cell")
    said = str(caught.value)
    assert words in said and said.startswith("comb.csv line 3: a cell") and len(said) < 260 and "\n" not in said


def test_a_bare_b_is_german_where_its_neighbours_are():
    column = ["H4", "B4", "Cis5"]
    assert names_used(column) is Names.GERMAN
    assert [pitch_from(cell, names=names_used(column)) for cell in column] == [71, 70, 73]
    assert names_used(["B4", "C#5", "69"]) is None and pitch_from("B4") == 71
    assert names_used(["Si4", "Do#5"]) is Names.FRENCH


def test_the_limits_tell_the_value_in_millimetres():
    with pytest.raises(BadInput, match=r"--bore-mm: '1.1 in' is 27.94 mm; it must lie from 0.2 to 20 mm"):
        length_within("1.1 in", "--bore-mm", Limits(0.2, 20.0))


def test_gauges_fall_from_number_to_number():
    for gauge, most in ((american_wire_mm, 40), (standard_wire_mm, 50)):
        sizes = [gauge(n) for n in range(most + 1)]
        assert all(a > b for a, b in pairwise(sizes))
        assert gauge(most + 1) is None and gauge(-1) is None
    # ASTM B258: ten numbers are a tenth in area, nearly; 0 is 0.3249 in.
    assert american_wire_mm(0) == pytest.approx(0.3249 * 25.4, abs=0.002)


@given(st.floats(0.001, 9000, allow_nan=False))
def test_a_number_reads_back_with_comma_or_point(value):
    text = f"{value:.4f}"
    assert number_from(text) == number_from(text.replace(".", ",")) == float(text)


@given(st.text(max_size=30))
def test_any_words_are_read_or_refused(text):
    for read in (pitch_from, length_mm, angle_deg):
        try:
            assert math.isfinite(read(text))
        except BadInput as error:
            assert "\n" not in str(error)
