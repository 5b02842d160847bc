"""Loudness by overlap: heights on a small disc by hand, through the command to the work list; refusals in a line."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from fractions import Fraction
from math import log10, sqrt
from pathlib import Path

import mido
import numpy as np
import pytest

from disc.design.loudness import parse_overlap, standing_mm, with_signs_counted
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.job import open_job
from disc.records import Key, Metre, Note, Pin, Side, Tune
from disc.tables import format_comb
from disc.tune.read.read_turn import read_turn
from disc.tune.score.read_score import read_score
from disc.tune.write.midi import midi_bytes
from disc.tune.write.sound import render_strikes
from disc.turn.settings import turn_settings
from disc.turn.swing import Overlap, with_swings
from disc.turn.turn_of_job import turn_of_job
from tests.tune.made import MAMAN, PLATE, parse, strikes_of

from .small import comb_of
from .test_command import disc_here

# Two parts: a melody of four quarters, and under it a bass on the first and third beat of a bar of four.
SCORE = """X:1
T:Loud
M:4/4
L:1/4
Q:1/4=100
K:C
V:1
c d e f|g4|]
V:2
C2 E2|G4|]
"""


def test_melody_accents_and_the_rest_stand_by_the_makers_range(tmp_path, monkeypatch, capsys) -> None:
    (tmp_path / "loud.abc").write_text(SCORE)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([60, 64, 67, 72, 74, 76, 77, 79])))
    words = ["design", f"{tmp_path}/loud.abc", "--comb", f"{tmp_path}/comb.csv", "--melody", "1", "--transpose", "0"]
    sizes = ["--pin-height-mm", "0.50", "--overlap-mm", "0.06-0.14", "--thickness-mm", "1"]
    code, out, err = disc_here(monkeypatch, capsys, *words, *sizes, "--out", f"{tmp_path}/job", "--json")
    assert (code, err) == (0, "")
    said = json.loads(out)["design"]["loudness"]
    assert said["range_db"] == round(20 * log10(0.14 / 0.06), 1)
    job = open_job(tmp_path / "job")
    pitch = {tooth.number: round(tooth.pitch) for tooth in job.comb().teeth if tooth.pitch is not None}
    stands = {pitch[pin.tooth]: pin.height_mm for pin in job.pins() if pin.tooth is not None}
    # melody (72 and above) 0.50; bass at a bar line 0.50 - 0.04; the bass on the third beat 0.50 - 0.08
    assert stands == {72: 0.5, 74: 0.5, 76: 0.5, 77: 0.5, 79: 0.5, 60: 0.46, 64: 0.42, 67: 0.46}
    assert {row["stands_mm"]: row["count"] for row in said["pins"]} == {0.5: 5, 0.46: 2, 0.42: 1}
    _sounds_as_it_stands(tmp_path / "job", {pitch: (0.14 - 0.5 + mm) / 0.14 for pitch, mm in stands.items()})
    code, out, err = disc_here(monkeypatch, capsys, "repin", f"{tmp_path}/job")
    assert code == 0, err
    table = (tmp_path / "job/out/drawings/drill-table.csv").read_text()
    column = table.splitlines()[0].split(",").index("standing_mm")
    assert sorted(float(line.split(",")[column]) for line in table.splitlines()[1:]) == sorted(stands.values())


def _sounds_as_it_stands(folder: Path, swing: dict[int, float]) -> None:
    """MIDI of the design, what the page plays, and the sound made of it. swing: by pitch."""
    file = mido.MidiFile(folder / "out/tune.mid")
    heard = {m.note: m.velocity for track in file.tracks for m in track if m.type == "note_on" and m.velocity}
    # 40 log10 of the velocity against 20 log10 of the swing; the loudest as a melody's note is without an overlap
    assert heard == {pitch: round(96 * sqrt(share)) for pitch, share in swing.items()}
    turn = turn_of_job(open_job(folder))
    assert {round(s.pitch or 0): s.swing for s in turn.now} == pytest.approx(swing, abs=1e-3)
    first, second = (next(s for s in turn.strikes if s.pitch == pitch) for pitch in (64, 79))  # one after the other
    first, second = replace(first, onset_s=0.0), replace(second, onset_s=3.0)
    levels = [np.abs(render_strikes(pair)) for pair in ((first, second), (replace(first, swing=None), second))]
    soft, usual = (level[:44_100].max() / level[3 * 44_100 :].max() for level in levels)
    assert soft == pytest.approx(usual * swing[64], rel=1e-3)


def test_a_read_note_is_as_loud_as_its_strike() -> None:
    strikes = strikes_of(parse(MAMAN), 0.5)
    pins = [Pin(s.pin_id or 0, Side.UPPER, 5.0, 0.0, height_mm=0.5 - 0.01 * (s.tooth % 8)) for s in strikes]
    struck = with_swings(strikes, pins, Overlap(0.14, 0.5))
    tune = read_turn(struck, PLATE).tune
    told = {n.pitch: n.swing for n in tune.notes}
    assert told == pytest.approx({s.tooth: 1 - 0.01 * (s.tooth % 8) / 0.14 for s in strikes}, abs=1e-3)


def test_two_teeth_of_a_pitch_struck_at_once_are_two_notes() -> None:
    """In MIDI as on the disc; one tooth cannot be struck twice at once."""
    for teeth, count in (((1, 2), 2), ((1, 1), 1)):
        notes = tuple(Note(Fraction(0), Fraction(1), 72, pins=(n,), tooth=t) for n, t in enumerate(teeth, 1))
        tune = Tune(notes, Metre(4, 4), Key(0, "major", 0), Fraction(0), 0.5)
        track = mido.MidiFile(file=io.BytesIO(midi_bytes(tune))).tracks[1]
        assert sum(m.type == "note_on" for m in track) == sum(m.type == "note_off" for m in track) == count


@pytest.mark.parametrize("found", [[0.5, 0.14], ["a", 0.5], 7, [0.1], [0, 0.5]], ids=str)
def test_an_overlap_in_the_jobs_file_that_cannot_be_right(found: object) -> None:
    with pytest.raises(BadInput, match="pin_overlap_mm must be two lengths"):
        turn_settings({"pin_overlap_mm": found})


SIGNS_ABC = """X:1
T:Soft and loud
M:4/4
L:1/4
K:C
c !p!d !>!e f-|f !fp!g !fff!a2|]
"""
SIGNS_XML = """<score-partwise><part-list><score-part id="P"><part-name>Flute</part-name></score-part></part-list>
<part id="P"><measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats>
<beat-type>4</beat-type></time></attributes>
{c}{p}{d}{e}{f}</measure><measure number="2">{g}{fp}{a}{fff}{b}{r}</measure></part></score-partwise>"""


def _in_xml() -> str:
    def note(step: str, inside: str = "") -> str:
        pitch = f"<pitch><step>{step}</step><octave>5</octave></pitch>"
        return f"<note>{pitch}<duration>1</duration>{inside}</note>"

    def sign(word: str) -> str:
        return f"<direction><direction-type><dynamics><{word}/></dynamics></direction-type></direction>"

    accent = "<notations><articulations><accent/></articulations></notations>"
    notes = {step: note(step.upper(), accent if step == "e" else "") for step in "cdefgab"}
    rest = "<note><rest/><duration>1</duration></note>"
    return SIGNS_XML.format(**notes, r=rest, **{word: sign(word) for word in ("p", "fp", "fff")})


@pytest.mark.parametrize(("name", "text"), [("a.abc", SIGNS_ABC), ("a.musicxml", _in_xml())])
def test_degrees_and_accents_are_read_and_set(tmp_path, name: str, text: str) -> None:
    """p, an accent, a degree that goes on over the bar line, fp, fff; before the first of them mf."""
    path = tmp_path / name
    path.write_text(text)
    (score,) = read_score(path)
    said = [(n.loudness.degree, n.loudness.accent) for n in score.notes]
    lasting = [("p", False)] * (len(said) - 5)  # f; in the second file a g of its own
    assert said == [("", False), ("p", False), ("p", True), *lasting, ("p", True), ("fff", False)]
    settings = DesignSettings(pin_height_mm=0.5, overlap_mm=(0.06, 0.13))
    stands = [standing_mm(note, score, settings) for note in score.notes]
    # 0.01 mm a step from ppp to fff, an accent a quarter of 0.07 more
    soft, accent = 0.45, round(0.45 + 0.07 / 4, 4)
    assert stands == pytest.approx([0.47, soft, accent, *[soft] * (len(said) - 5), accent, 0.5])
    (said_of,) = with_signs_counted(score, path, DesignSettings()).remarks
    assert said_of.startswith(f"p, f and accents left out, of {len(said) - 1} notes: no range of overlap is known")
    assert with_signs_counted(score, path, settings).remarks == ()
    (said_of,) = with_signs_counted(score, tmp_path / "a.mid", settings).remarks
    assert "are not read" in said_of


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("0.1", "is no range: loudness needs the maker's least and most"),
        ("", "is no range"),
        ("0.14-0.06", "cannot be right"),
        ("0.1-0.6", "less than the pins' height of 0.5 mm"),
        ("0-0.1", "the least is above 0"),
    ],
)
def test_a_range_that_is_absent_or_impossible_is_refused_in_a_line(text: str, why: str) -> None:
    with pytest.raises(BadInput, match=why) as said:
        parse_overlap(text, 0.5)
    assert "\n" not in str(said.value)


def test_a_range_in_other_units() -> None:
    assert parse_overlap("2 thou - 4 thou", 0.5) == pytest.approx((0.0508, 0.1016))
    assert parse_overlap("0,06 to 0,14", 0.5) == pytest.approx((0.06, 0.14))
