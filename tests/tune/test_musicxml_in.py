"""MusicXML read straight: what is written, against the standard's own rules and against music21 on the same files."""

from __future__ import annotations

import importlib.util
from fractions import Fraction
from pathlib import Path

import pytest

from disc.errors import BadInput
from disc.records import Metre
from disc.tune.score.read_score import read_score

HEAD = (
    "<score-partwise><work><work-title>Winter</work-title></work><movement-title>Good night</movement-title>"
    "<identification><creator type='lyricist'>A poet</creator><creator type='composer'>A composer</creator>"
    "</identification><part-list><score-part id='P1'><part-name>Voice</part-name></score-part></part-list>"
)


def note(step: str, octave: int = 4, length: int = 1, inside: str = "", after: str = "") -> str:
    pitch = f"<pitch><step>{step}</step><octave>{octave}</octave></pitch>"
    return f"<note>{inside}{pitch}<duration>{length}</duration>{after}</note>"


def read(tmp_path: Path, bars: list[str], attributes: str = ""):
    first = (
        f"<attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time>{attributes}"
        "</attributes>"
    )
    text = "".join(f"<measure number='{i}'>{first if i == 1 else ''}{bar}</measure>" for i, bar in enumerate(bars, 1))
    path = tmp_path / "tune.musicxml"
    path.write_text(f"{HEAD}<part id='P1'>{text}</part></score-partwise>")
    return read_score(path)[0]


def pitches(score) -> list[int]:
    return [n.pitch for n in score.notes]


def barline(location: str, inside: str) -> str:
    return f"<barline location='{location}'>{inside}</barline>"


BACK = "<repeat direction='backward'/>"


def test_titles_composer_metre_and_plain_notes(tmp_path):
    score = read(tmp_path, [note("C") + note("E"), note("G", 5, 2)])
    assert score.title == "Winter: Good night" and score.composer == "A composer"
    assert score.metre == Metre(2, 4)
    assert [(n.pitch, n.onset_quarter, n.duration_quarter) for n in score.notes] == [(60, 0, 1), (64, 1, 1), (79, 2, 2)]


def test_repeats_and_endings_are_played_out(tmp_path):
    ending = [f"<ending number='{n}' type='{kind}'/>" for n in (1, 2) for kind in ("start", "stop")]
    bars = [
        note("C", 4, 2),
        barline("left", ending[0]) + note("D", 4, 2) + barline("right", ending[1] + BACK),
        barline("left", ending[2]) + note("E", 4, 2) + barline("right", ending[3]),
    ]
    assert pitches(read(tmp_path, bars)) == [60, 62, 60, 64]


@pytest.mark.parametrize(
    "sign",
    ["<sound dacapo='yes'/>", "<direction><direction-type><words>D.C. al Fine</words></direction-type></direction>"],
)
def test_a_da_capo_goes_back_to_fine(tmp_path, sign):
    fine = "<direction><direction-type><words>Fine</words></direction-type><sound fine='yes'/></direction>"
    assert pitches(read(tmp_path, [note("C", 4, 2) + fine, note("D", 4, 2) + sign])) == [60, 62, 60]


def test_ties_chords_voices_and_rests(tmp_path):
    over, on = "<tie type='start'/>", "<tie type='stop'/>"
    bars = [
        note("C", 4, 2, after=over) + note("E", 4, 2, "<chord/>") + "<backup><duration>2</duration></backup>"
        "<note><rest/><duration>1</duration></note>" + note("G", 3, 1),
        note("C", 4, 1, after=on) + note("D"),
    ]
    found = [(n.pitch, n.onset_quarter, n.duration_quarter) for n in read(tmp_path, bars).notes]
    assert found == [(60, 0, 3), (64, 0, 2), (55, 1, 1), (62, 3, 1)]


# MusicXML 4.0, transpose: chromatic is what is added to the written pitch; a clarinet in B flat sounds a tone lower.
def test_a_transposing_part_is_read_as_it_sounds(tmp_path):
    attributes = "<key><fifths>2</fifths></key><transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    score = read(tmp_path, [note("D", 4, 2)], attributes)
    assert pitches(score) == [60] and score.key is not None and (score.key.tonic, score.key.fifths) == (0, 0)


def test_two_staves_are_two_parts_and_grace_notes_are_left_out(tmp_path):
    grace = "<note><grace/><pitch><step>F</step><octave>5</octave></pitch></note>"
    bars = [
        grace + note("G", 5, 2, after="<staff>1</staff>") + "<backup><duration>2</duration></backup>"
        + note("C", 3, 2, after="<staff>2</staff>")
    ]  # fmt: skip
    score = read(tmp_path, bars)
    assert {(n.pitch, n.part) for n in score.notes} == {(79, 0), (48, 1)} and score.melody_part == 0
    assert "1 grace note left out" in score.remarks


def test_a_bar_too_long_in_one_part_does_not_move_the_others(tmp_path):
    path = tmp_path / "two.musicxml"
    first = "<attributes><divisions>1</divisions><time><beats>2</beats><beat-type>4</beat-type></time></attributes>"
    rest = "<note><rest/><duration>2</duration></note>"
    parts = [
        [first + note("C", 4, 2), note("D", 4, 2)],
        [first + note("C", 3, 2) + rest, note("G", 3, 2)],
    ]
    text = "".join(
        f"<part id='P{k}'>"
        + "".join(f"<measure number='{i}'>{bar}</measure>" for i, bar in enumerate(bars, 1))
        + "</part>"
        for k, bars in enumerate(parts, 1)
    )
    path.write_text(f"{HEAD}{text}</score-partwise>")
    assert [n.onset_quarter for n in read_score(path)[0].notes] == [0, 0, 2, 2]


def test_no_note_and_nonsense_are_refused_in_one_line(tmp_path):
    with pytest.raises(BadInput, match="no notes in it"):
        read(tmp_path, ["<note><rest/><duration>2</duration></note>"])
    with pytest.raises(BadInput, match="cannot be read"):
        read(tmp_path, [note("C").replace("<duration>1", "<duration>x")])
    with pytest.raises(BadInput, match="cannot be read"):
        read(tmp_path, [note("H")])


# The same files through music21 10: sounding notes, bars and key. Its ties and bars agree where the file is sound.
@pytest.mark.parametrize("name", ["bach/bwv66.6.mxl", "joplin/maple_leaf_rag.mxl"])
def test_as_music21_reads_the_same_file(name):
    from music21 import converter

    found = importlib.util.find_spec("music21")
    path = Path(str(found.submodule_search_locations[0])) / "corpus" / name
    if not path.is_file():
        pytest.skip("not in this corpus")
    score = read_score(path)[0]
    once, seen = [], set()
    for bar in score.bars:  # music21 gives each bar once, as written
        if bar.printed not in seen:
            once.append(bar)
            seen.add(bar.printed)
    theirs = converter.parse(path)
    expected = sorted(
        (Fraction(element.offset) + Fraction(measure.offset), pitch.midi)
        for part in theirs.parts
        for measure in part.getElementsByClass("Measure")
        for element in measure.flatten().notes
        for pitch in element.pitches
        if not element.duration.isGrace and (element.tie is None or element.tie.type == "start")
    )
    shift = {bar.printed: bar.start_quarter for bar in once}
    written = {m.measureNumberWithSuffix(): Fraction(m.offset) for m in theirs.parts[0].getElementsByClass("Measure")}
    ours = sorted(
        (n.onset_quarter - bar.start_quarter + written[bar.printed], n.pitch)
        for bar in once
        for n in score.notes
        if bar.start_quarter <= n.onset_quarter < bar.end_quarter
    )
    assert shift.keys() == written.keys() and len(ours) > 100
    assert len(set(ours) ^ set(expected)) <= 0.02 * len(expected)  # a tie over a repeat is read on either side
