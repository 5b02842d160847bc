"""Ornaments on a new disc: read from the file, played before their notes, whole or not at all, on doubled teeth."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from disc.design.arranged import arranged_tune
from disc.design.known_notes import known_notes
from disc.design.ornaments import GRACE_S, Ornaments, ornaments_from, with_ornaments
from disc.design.plan import Design, plan_design
from disc.design.request import Request, carry_out
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.job import open_for_writing
from disc.records import Voice
from disc.tables import format_comb
from disc.tune.read.read_turn import read_turn
from disc.tune.score.read_score import read_score
from disc.tune.score.records import Rank, ScoreIn
from disc.tune.write.musicxml import musicxml_text
from disc.turn.settings import turn_settings
from disc.turn.transcribe_job import transcribe_job

from .checker import Rules, broken_rules
from .other_solver import optimum_with_scip
from .small import PLATE, comb_of, score_of

# A grace note, a written turn, and the signs of a trill, a mordent below and one above; G major.
ABC = """X:1
T:Graces
M:4/4
L:1/4
Q:1/4=80
K:G
G{A}BAG|{BAGA}B2 dB|TA2 MG2|PB2 A2|G4|]
"""
XML = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Air</part-name></score-part>
</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>1</fifths></key>
<time><beats>2</beats><beat-type>4</beat-type></time></attributes>
<note><grace/><pitch><step>A</step><octave>4</octave></pitch></note>
<note><pitch><step>G</step><octave>4</octave></pitch><duration>1</duration></note>
<note><pitch><step>B</step><octave>4</octave></pitch><duration>1</duration>
<notations><ornaments><turn/></ornaments></notations></note></measure></part></score-partwise>"""
SLOW_TURN_S = 60.0
SCALE = [67, 69, 71, 72, 74, 76, 78, 79]


@pytest.fixture
def asked(tmp_path: Path) -> ScoreIn:
    (tmp_path / "graces.abc").write_text(ABC)
    return read_score(tmp_path / "graces.abc")[0]


def test_what_the_files_say(asked: ScoreIn, tmp_path: Path) -> None:
    """By hand: pitches as the key has them (F sharp), each ornament at the note it stands before."""
    assert [(o.onset_quarter, o.pitch, o.graces, o.sign) for o in asked.ornaments] == [
        (Fraction(1), 71, (69,), ""),
        (Fraction(4), 71, (71, 69, 67, 69), ""),
        (Fraction(8), 69, (), "trill"),
        (Fraction(10), 67, (), "mordent"),
        (Fraction(12), 71, (), "inverted mordent"),
    ]
    assert len(asked.notes) == 12  # the notes themselves are as before
    (tmp_path / "air.musicxml").write_text(XML)
    (air,) = read_score(tmp_path / "air.musicxml")
    assert [(o.onset_quarter, o.pitch, o.graces, o.sign) for o in air.ornaments] == [
        (Fraction(0), 67, (69,), ""),
        (Fraction(1), 71, (), "turn"),
    ]


def test_the_notes_they_become(asked: ScoreIn) -> None:
    """Neighbours in G major: B over A, F sharp under G, C over B."""
    made = with_ornaments(asked)
    small = [(n.onset_quarter, n.pitch, round(n.lead_s / GRACE_S, 2)) for n in made.notes if n.rank is Rank.ORNAMENT]
    by_place: dict[Fraction, list[tuple[int, float]]] = {}
    for onset, pitch, lead in small:
        by_place.setdefault(onset, []).append((pitch, lead))
    ordered = {onset: [pitch for pitch, _ in sorted(notes, key=lambda n: -n[1])] for onset, notes in by_place.items()}
    assert ordered == {1: [69], 4: [71, 69, 67, 69], 8: [71, 69, 71], 10: [67, 66], 12: [71, 72]}
    assert "5 ornaments played" in made.remarks[-1] and not any("grace" in remark for remark in made.remarks)
    none = with_ornaments(asked, ornaments_from("none"))
    assert none.notes == asked.notes and none.remarks == ("5 ornaments left out",)
    with pytest.raises(BadInput, match="played or none"):
        ornaments_from("all")
    assert ornaments_from("Played") is Ornaments.PLAYED


def test_they_are_whole_or_not_there_and_want_double_teeth(asked: ScoreIn) -> None:
    """One tooth a pitch leaves no room for a pitch struck twice within 0.14 s on tracks this small; doubles do."""
    score = with_ornaments(asked)
    sizes = {}
    for name, pitches in (("single", [66, *SCALE]), ("double", sorted([66, *SCALE, 67, 69, 71]))):
        comb = comb_of(pitches, first_r_mm=13.0, step_mm=0.6)
        design = plan_design(score, comb, PLATE, DesignSettings(), SLOW_TURN_S, transposition=0)
        assert broken_rules(design.pins, comb, design.plate, Rules()) == [] and design.arrangement.proven
        assert design.arrangement.share.melody_kept == 12  # no note gives way to an ornament
        kept = {p.note for p in design.arrangement.placed}
        groups: dict[Fraction, set[bool]] = {}
        for i, note in enumerate(score.notes):
            if note.rank is Rank.ORNAMENT:
                groups.setdefault(note.onset_quarter, set()).add(i in kept)
        assert all(len(both) == 1 for both in groups.values())
        sizes[name] = {onset for onset, both in groups.items() if both == {True}}
    assert sizes["single"] < sizes["double"] == {1, 4, 8, 10, 12}


def test_they_sound_before_their_note_and_are_read_as_ornaments(asked: ScoreIn) -> None:
    """From the pins alone the reader takes them for what they are, and the print has each, in order."""
    comb = comb_of(sorted([66, *SCALE, 67, 69, 71]), first_r_mm=13.0, step_mm=0.6)
    design = plan_design(with_ornaments(asked), comb, PLATE, DesignSettings(), SLOW_TURN_S, transposition=0)
    tune = arranged_tune(design)
    small = [note for note in tune.notes if note.grace]
    by_pin = {strike.pin_id: strike.onset_s for strike in design.strikes}
    assert len(small) == 12
    assert all(by_pin[note.pins[0]] == pytest.approx(note.onset_s, abs=1e-6) for note in small)
    assert musicxml_text(tune).count("<grace") == 12
    known = turn_settings({"quarter_deg": design.timing.deg_per_quarter, "metre": "4/4"}).tune
    read = read_turn(design.strikes, design.plate, known).tune
    assert {note.pins for note in read.notes if note.grace} == {note.pins for note in small}


def test_another_solver_agrees(asked: ScoreIn) -> None:
    from disc.design.arrange.arrange import arrange
    from disc.design.arrange.pitches import playing_comb
    from disc.design.arrange.programme import solve
    from disc.design.arrange.task import prepare, set_up, with_conflicts
    from disc.design.arrange.timing import set_timing

    score, settings = with_ornaments(asked), DesignSettings()
    comb = playing_comb(comb_of([66, *SCALE, 71], first_r_mm=13.0, step_mm=0.6), PLATE)
    task = prepare(score, comb, PLATE, settings, set_timing(score, PLATE, settings, None))
    programme = with_conflicts(task, set_up(task, 0, 0))
    assert programme.ornaments and solve(programme, 10).value == optimum_with_scip(programme)
    assert arrange(task, 0).value >= optimum_with_scip(programme)


# Over after-beats the small note stands where a short one could, a 32nd of a triplet.
WALTZ = """X:1
T:Waltz
M:3/4
L:1/8
Q:1/4=132
K:D
"D" A4 F2|"A7" G4 E2|"D" F4 A2|"A7" {B}A6|"G" B4 d2|"D" A4 F2|"A7" G2 E2 C2|"D" D6|
"G" B4 d2|"D" A4 F2|"Em" G4 B2|"A7" A6|"G" B2 d2 B2|"D" A2 F2 A2|"A7" G2 E2 C2|"D" D6|]
"""


def test_a_designed_disc_knows_which_pins_are_ornaments(tmp_path: Path) -> None:
    """Transcribed, that pin is a small note, and no other: told by the design, not found by the timing."""
    (tmp_path / "waltz.abc").write_text(WALTZ)
    scale = [62, 64, 66, 67, 69, 71, 73, 74, 76, 78, 79, 81, 83, 85, 86, 88, 90, 91, 93]
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([50, 55, 57, 62, *scale, 69, 74, 78], 14.5, 0.45)))
    job, design = carry_out(Request(tmp_path / "waltz.abc", tmp_path / "job", tmp_path / "comb.csv"))
    assert isinstance(design, Design)
    small = {pin for i, pin in design.pin_of_note.items() if design.score.notes[i].rank is Rank.ORNAMENT}
    assert len(small) == 1
    with open_for_writing(job.folder) as opened:
        assert [words.split()[0] for words in opened.settings["notes"]].count("ornament") == 1
        tune = transcribe_job(opened).reading.tune
    assert {pin for note in tune.notes if note.grace for pin in note.pins} == small
    melody = {pin for i, pin in design.pin_of_note.items() if design.score.notes[i].rank is Rank.MELODY}
    read = {pin for note in tune.notes if note.voice is Voice.MELODY for pin in note.pins}
    assert len(melody) == 32
    assert melody == read - small  # six notes of the accompaniment are taken for the tune's where nothing is said


def test_where_the_tunes_part_rests_the_reader_finds_the_voices(tmp_path: Path) -> None:
    """A prelude: all is accompaniment by its part, and nothing is said of it."""
    notes = [(q, 1.0, pitch, Rank.INNER) for q, pitch in enumerate([72, 76, 79, 84, 83, 79, 76, 72])]
    notes += [(q, 2.0, 60, Rank.BASS) for q in (0, 2, 4, 6)]
    design = plan_design(score_of(notes), comb_of([60, 72, 76, 79, 83, 84]), PLATE, DesignSettings(), transposition=0)
    assert known_notes((design,), {"quarter_deg": design.timing.deg_per_quarter, "metre": "4/4"}) == []
