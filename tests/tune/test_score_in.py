"""read_score: what is read must equal what stands in the file; music21's own unfolding is a second opinion."""

from __future__ import annotations

import io
import random
import subprocess
import sys
import time
import zipfile
from fractions import Fraction
from functools import cache
from pathlib import Path

import mido
import pytest

from disc.errors import BadInput
from disc.records import Key, Metre
from disc.tune.score.read_score import read_score
from disc.tune.score.records import Rank, ScoreIn

# A tune of our own: upbeat, repeat with two endings, a triplet, a tie over the bar line.
ABC = """X:1
T:The Winding Stem
M:3/4
L:1/8
Q:1/4=100
K:G
D2|:G2 B2 d2|(3gfe d4-|1 d2 B4|G4 D2:|2 d2 A4|G6|]
"""


def write(tmp_path: Path, name: str, content: bytes | str) -> Path:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def heard(score: ScoreIn) -> list[tuple[Fraction, Fraction, int]]:
    return [(n.onset_quarter, n.duration_quarter, n.pitch) for n in score.notes]


def test_abc_is_read_as_written(tmp_path: Path) -> None:
    (score,) = read_score(write(tmp_path, "stem.abc", ABC))
    f = Fraction
    third = f(1, 3)
    head = [(f(0), f(1), 67), (f(1), f(1), 71), (f(2), f(1), 74), (f(3), third, 79), (f(3) + third, third, 78)]
    head += [(f(3) + 2 * third, third, 76)]
    first = [*head, (f(4), f(3), 74), (f(7), f(2), 71), (f(9), f(2), 67), (f(11), f(1), 62)]
    second = [(a + 12, b, c) for a, b, c in head] + [(f(16), f(3), 74), (f(19), f(2), 69), (f(21), f(3), 67)]
    assert heard(score) == [(f(-1), f(1), 62), *first, *second]  # by hand from the text above
    assert score.metre == Metre(3, 4) and score.key == Key(7, "major", 1) and score.title == "The Winding Stem"
    assert score.quarter_s == pytest.approx(0.6) and score.upbeat_quarter == 1
    assert [bar.number for bar in score.bars] == list(range(9))


def test_a_cut_keeps_the_bars_asked_for(tmp_path: Path) -> None:
    (score,) = read_score(write(tmp_path, "stem.abc", ABC))
    cut = score.between_bars(2, 3)
    assert [(n.onset_quarter, n.pitch) for n in cut.notes] == [
        (Fraction(0), 79),
        (Fraction(1, 3), 78),
        (Fraction(2, 3), 76),
        (Fraction(1), 74),
        (Fraction(4), 71),
    ]
    assert score.between_bars(0, 1).upbeat_quarter == 1


def midi_file(messages: list[mido.Message | mido.MetaMessage], per_quarter: int = 100) -> bytes:
    midi = mido.MidiFile(ticks_per_beat=per_quarter)
    track = mido.MidiTrack()
    track.extend(messages)
    midi.tracks.append(track)
    out = io.BytesIO()
    midi.save(file=out)
    return out.getvalue()


def test_midi_triplets_are_thirds(tmp_path: Path) -> None:
    on, off = "note_on", "note_off"
    data = midi_file(
        [
            mido.MetaMessage("time_signature", numerator=6, denominator=8),
            mido.MetaMessage("key_signature", key="Bbm"),
            mido.MetaMessage("set_tempo", tempo=400_000),
            *[
                mido.Message(kind, note=pitch, velocity=60, time=time)
                for kind, pitch, time in [
                    (on, 60, 0),
                    (off, 60, 33),
                    (on, 62, 0),
                    (off, 62, 34),
                    (on, 64, 0),
                    (on, 48, 0),
                    (off, 64, 33),
                    (off, 48, 200),
                ]
            ],
        ]
    )
    (score,) = read_score(write(tmp_path, "t.mid", data))
    third = Fraction(1, 3)
    assert heard(score) == [
        (Fraction(0), third, 60),
        (third, third, 62),
        (2 * third, Fraction(7, 3), 48),
        (2 * third, third, 64),
    ]
    assert [n.rank for n in score.notes] == [Rank.MELODY, Rank.MELODY, Rank.BASS, Rank.MELODY]
    # B flat minor has five flats (circle of fifths); tonic B flat is pitch class 10.
    assert score.key == Key(10, "minor", -5) and score.metre == Metre(6, 8) and score.quarter_s == 0.4


def test_parts_are_ranked_by_height() -> None:
    from music21 import corpus

    # Soprano, alto, tenor, bass: the voices' names say which is which.
    path = corpus.getWork("bach/bwv66.6")
    (score,) = read_score(Path(str(path)))
    work = corpus.parse("bach/bwv66.6")
    for part, rank in (("Soprano", Rank.MELODY), ("Bass", Rank.BASS)):
        notes = work.parts[part].stripTies().flatten().notes
        ours = {(n.onset_quarter + score.upbeat_quarter, n.pitch) for n in score.notes if n.rank is rank}
        assert {(Fraction(n.offset), n.pitch.midi) for n in notes} <= ours | {
            (n.onset_quarter + score.upbeat_quarter, n.pitch) for n in score.notes if n.rank is Rank.MELODY
        }
    assert score.key == Key(6, "minor", 3)  # F sharp minor: three sharps


@pytest.mark.parametrize("work", ["palestrina/Agnus_II_47.krn", "palestrina/Credo_63_a.krn", "bach/bwv84.5.mxl"])
def test_notes_agree_with_music21s_own_unfolding(work: str) -> None:
    from music21 import converter, corpus

    path = Path(str(corpus.getWork(work)))
    (score,) = read_score(path)
    other = converter.parse(path)
    other = other.expandRepeats() if work.endswith("mxl") else other
    theirs = sorted(
        {
            (Fraction(note.offset), round(pitch.ps))
            for note in other.stripTies().flatten().notes
            if not note.duration.isGrace and "ChordSymbol" not in note.classes
            for pitch in note.pitches
        }
    )
    ours = sorted((n.onset_quarter + score.upbeat_quarter, n.pitch) for n in score.notes)
    assert ours == theirs


# ---- bad input


def musicxml(body: str, heading: str = "") -> str:
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{heading}<score-partwise version="4.0"><part-list><score-part id="P1">'
        f'<part-name>A</part-name></score-part></part-list><part id="P1">{body}</part></score-partwise>'
    )


def packed(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in members.items():
            file.writestr(name, content)
    return out.getvalue()


def packed_score(body: str) -> bytes:
    return packed({"score.xml": musicxml(body).encode()})


NOTE = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
BAR = "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
LAUGHS = '<!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
LOCAL = '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/hostname">]>'
UNPITCHED = "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
DRUM = f"<note>{UNPITCHED}<duration>4</duration></note>"
HOLLOW = "<a/>" * 5_000_000
SIGNS = "<direction><direction-type><words>a</words></direction-type></direction>" * 30_000
PARTS = '</part><part id="P1"><measure/>' * 500_000
FOREVER = '<barline><repeat direction="backward" times="999999"/></barline>'


def three_hours() -> bytes:
    hold = [mido.Message("note_on", note=60, velocity=60), mido.Message("note_off", note=60, time=100 * 2 * 3600 * 3)]
    return midi_file(hold)


BAD = {
    "absent.mid": (None, "no such file"),
    "empty.abc": (b" \n", "empty"),
    "noise.bin": (bytes(range(256)) * 40, "no tune the program can read"),
    "words.txt": (b"Dear Sir,\nthe watch stands still.\n", "no tune the program can read"),
    "cut.mid": (midi_file([mido.Message("note_on", note=60)])[:-6], "damaged"),
    "silent.mid": (midi_file([mido.MetaMessage("set_tempo", tempo=500_000)]), "no notes"),
    "drums.mid": (midi_file([mido.Message("note_on", channel=9, note=38, time=9)]), "only percussion"),
    "long.mid": (three_hours(), "3.0 hours"),
    "silent.abc": (b"X:1\nT:Rest\nM:4/4\nL:1/4\nK:C\nz4|z4|]\n", "no notes"),
    "long.abc": (b"X:1\nM:4/4\nL:1/1\nQ:1/4=60\nK:C\n" + b"C9|" * 60, "minutes|hours"),
    "long.musicxml": (musicxml("".join(f"<measure>{BAR}{NOTE}</measure>" for _ in range(5400))).encode(), "3000 bars"),
    "drums.musicxml": (musicxml(f"<measure>{BAR}{DRUM}</measure>").encode(), "only percussion"),
    "silent.musicxml": (musicxml(f"<measure>{BAR}</measure>").encode(), "no notes"),
    "laughs.musicxml": (musicxml(f"<measure>{BAR}{NOTE}</measure>", LAUGHS).encode(), "entities"),
    "laughs16.musicxml": (
        musicxml(f"<measure>{BAR}{NOTE}</measure>", LAUGHS).replace("UTF-8", "UTF-16").encode("utf-16"),
        "entities",
    ),
    "thief.musicxml": (musicxml(f"<measure>{BAR}{NOTE}</measure>", LOCAL).encode(), "entities"),
    "deep.musicxml": (b"<score-partwise>" + b"<a>" * 5000, "nested"),
    "page.html": (b"<html><body>tune</body></html>", "no MusicXML score"),
    "cut.musicxml": (musicxml(f"<measure>{BAR}{NOTE}</measure>").encode()[:-30], "damaged"),
    "forever.musicxml": (
        musicxml(f"<measure>{BAR}{NOTE}{FOREVER}</measure>").encode(),
        "999999 times",
    ),
    "bomb.mxl": (lambda: packed({"score.xml": b"<score-partwise>" + b" " * 400_000_000}), "unfolds to more than"),
    "bomb2.mxl": (lambda: packed({"META-INF/container.xml": b" " * 50_000_000}), "unfolds to more than"),
    "crowd.mxl": (lambda: packed({f"{i}.txt": b"" for i in range(300)}), "300 files"),
    "other.mxl": (lambda: packed({"readme.txt": b"x"}), "no MusicXML score is packed"),
    "cut.mxl": (lambda: packed_score(f"<measure>{BAR}{NOTE}</measure>")[:-40], "damaged"),
    "stars.krn": (b"**kern\n*M4/4\n=1\n1c\n" + b"*x\n" * 600_000 + b"*-\n", "far more is written"),
    "bangs.krn": (b"**kern\n*M4/4\n=1\n1c\n" + b"!x\n" * 600_000 + b"*-\n", "far more is written"),
    "rests.abc": (b"X:1\nM:4/4\nL:1/16\nK:C\nC" + b"z" * 1_900_000 + b"|\n", "far more is written"),
    "metres.abc": (b"X:1\nM:4/4\nL:1/16\nK:C\nC|" + b"[M:3/4]" * 200_000 + b"|\n", "far more is written"),
    "metre.abc": (b"X:1\nM:61e999/8\nL:1/8\nK:C\nCDEF|\n", "metre M:61e999/8 is no metre"),
    "metre2.abc": (b"X:1\nM:99999999999/8\nL:1/8\nK:C\nCDEF|\n", "metre M:99999999999/8 is no metre"),
    "metre3.abc": (b"X:1\nM:4/4\nL:1/8\nK:C\nCDEF|[M:1/4096]CDEF|\n", "metre M:1/4096 is no metre"),
    "unit.abc": (b"X:1\nM:4/4\nL:1/999999999\nK:C\nCDEF|\n", "unit of length"),
    "hollow.mxl": (
        lambda: packed({"score.xml": musicxml(f"<measure>{BAR}{NOTE}{HOLLOW}</measure>").encode()}),
        "far more",
    ),
    "signs.mxl": (
        lambda: packed({"score.xml": musicxml(f"<measure>{BAR}{NOTE}{SIGNS}</measure>").encode()}),
        "far more",
    ),
    "parts.mxl": (lambda: packed_score("<measure/>" + PARTS), "far more"),
    "rests.krn": (b"**kern\n*M4/4\n=1\n1r\n=2\n1r\n*-\n", "no notes"),
}


@cache
def bad_bytes(name: str) -> bytes | None:
    """What is in that file. What is packed is packed when asked for, and once: it takes seconds."""
    content, _ = BAD[name]
    return content() if callable(content) else content


@pytest.mark.parametrize("name", BAD)
def test_bad_input_gives_one_clear_line(tmp_path: Path, name: str) -> None:
    content, words = bad_bytes(name), BAD[name][1]
    path = tmp_path / name if content is None else write(tmp_path, name, content)
    began = time.process_time()
    with pytest.raises(BadInput, match=words) as caught:
        read_score(path)
    assert time.process_time() - began < 5.5  # the bar of the task is five seconds; the budget itself is 5
    assert str(path) in str(caught.value) and "\n" not in str(caught.value) and len(str(caught.value)) < 400


@pytest.mark.parametrize("name", [name for name in BAD if name.startswith(("metre", "unit", "stars", "bangs"))])
def test_absurd_files_are_refused_at_once(tmp_path: Path, name: str) -> None:
    path = write(tmp_path, name, bad_bytes(name) or b"")
    began = time.process_time()
    with pytest.raises(BadInput):
        read_score(path)
    assert time.process_time() - began < 1.0


def test_a_large_but_honest_tune_is_still_read(tmp_path: Path) -> None:
    """The limits against bombs leave a tune of thousands of notes and signs alone, and odd but real metres."""
    sign = "<direction><direction-type><words>a</words></direction-type></direction>"
    bars = "".join(f"<measure>{BAR if i == 0 else ''}{sign}{NOTE}</measure>" for i in range(800))
    assert len(read_score(write(tmp_path, "large.musicxml", musicxml(bars)))[0].notes) == 800
    for metre in ("C", "C|", "2+3/8", "12/16", "none"):
        text = f"X:1\nM:{metre} % so it stands\nL:1/8\nQ:1/4=100\nK:C\nCDEFG|EDCDE|\n"
        assert read_score(write(tmp_path, "odd.abc", text))[0].notes[0].pitch == 60


def test_bombs_stay_within_one_gigabyte(tmp_path: Path) -> None:
    """A process of its own reads every bad file; its highest memory is the system's count for what that process holds.

    VmHWM (proc(5)) and not getrusage's ru_maxrss: the latter begins with what the process that started it held, here
    pytest with an unpacked bomb or two.
    """
    files = [str(write(tmp_path, name, content)) for name in BAD if (content := bad_bytes(name))]
    code = (
        "import sys\nfrom pathlib import Path\nfrom disc.errors import BadInput\n"
        "from disc.tune.score.read_score import read_score\n"
        "for name in sys.argv[1:]:\n"
        "    try:\n        read_score(Path(name))\n    except BadInput:\n        pass\n"
        "print(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])"
    )
    done = subprocess.run([sys.executable, "-c", code, *files], capture_output=True, text=True, timeout=60, check=True)
    assert int(done.stdout) < 400_000  # kB; the bar of the task is one gigabyte


@pytest.mark.parametrize("kind", ["abc", "mid", "musicxml", "krn", "mxl"])
def test_damaged_files_end_in_a_tune_or_in_one_line(tmp_path: Path, kind: str) -> None:
    """Bytes changed at random (seeded): whatever comes, no other error leaves the reader."""
    xml = musicxml("".join(f"<measure>{BAR}{NOTE}</measure>" for _ in range(4)))
    notes = [mido.Message(kind, note=60 + i, time=50) for i in range(9) for kind in ("note_on", "note_off")]
    whole = {
        "abc": ABC.encode(),
        "mid": midi_file(notes),
        "musicxml": xml.encode(),
        "krn": b"**kern\t**kern\n*M3/4\t*M3/4\n=1\t=1\n4G\t2.BB\n4B\t.\n4d\t.\n=2\t=2\n2.g\t2.GG\n*-\t*-\n",
        "mxl": packed({"score.xml": xml.encode()}),
    }[kind]
    chance = random.Random(7)
    outcomes = set()
    for _ in range(60):
        data = bytearray(whole)
        for _ in range(chance.randint(1, 6)):
            place = chance.randrange(len(data))
            data[place : place + chance.randint(0, 3)] = chance.randbytes(chance.randint(0, 3))
        try:
            tunes = read_score(write(tmp_path, f"fuzz.{kind}", bytes(data)))
            outcomes.add("read")
            assert all(tune.notes and tune.bars for tune in tunes)
        except BadInput as error:
            outcomes.add("refused")
            assert "\n" not in str(error)
    assert "refused" in outcomes  # the damage does reach the reader


def test_a_collection_and_its_file_header(tmp_path: Path) -> None:
    """L: and M: before the first X: hold for both tunes (ABC 2.1, 2.2.2); a silent tune between them is left out."""
    text = "M:2/4\nL:1/4\n\nX:1\nT:One\nK:C\nCD|E2|]\n\nX:2\nT:Rest\nK:C\nz2|]\n\nX:3\nT:Two\nL:1/8\nK:D\nDEFG|A4|]\n"
    one, two = read_score(write(tmp_path, "book.abc", text))
    assert (one.title, two.title) == ("One", "Two") and one.metre == two.metre == Metre(2, 4)
    assert [n.duration_quarter for n in one.notes] == [1, 1, 2]
    assert [n.duration_quarter for n in two.notes] == [Fraction(1, 2)] * 4 + [2]


def test_damage_read_past_is_told_and_not_printed(tmp_path: Path, capfd) -> None:
    (score,) = read_score(write(tmp_path, "torn.abc", ABC.replace("B2 d2|(3g", "B2 \u00e32 d2|(3g")))
    assert any(remark.startswith("damaged in 1 place") for remark in score.remarks)
    said = capfd.readouterr()
    assert said.out == "" and said.err == ""


def bar_of(number: int, step: str, before: str = "", after: str = "") -> str:
    """A MusicXML bar of one whole note."""
    note = f"<note><pitch><step>{step}</step><octave>5</octave></pitch><duration>4</duration></note>"
    return f'<measure number="{number}">{before}{note}{after}</measure>'


def test_dal_segno_al_coda_in_musicxml(tmp_path: Path) -> None:
    """C D(segno) E(to coda) F(D.S. al Coda) G(coda): played C D E F, D E, G. Signs as in the MusicXML 4.0 tutorial."""
    sign = "<direction><direction-type><{0}/></direction-type>{1}</direction>"
    words = "<direction><direction-type><words>D.S. al Coda</words></direction-type></direction>"
    body = (
        bar_of(1, "C", BAR)
        + bar_of(2, "D", sign.format("segno", ""))
        + bar_of(3, "E", "", sign.format("coda", ""))
        + bar_of(4, "F", "", words)
        + bar_of(5, "G", sign.format("coda", ""))
    )
    (score,) = read_score(write(tmp_path, "ds.musicxml", musicxml(body)))
    assert [note.pitch for note in score.notes] == [72, 74, 76, 77, 74, 76, 79]
    assert [bar.printed for bar in score.bars] == ["1", "2", "3", "4", "2", "3", "5"]


def test_ornaments_of_kern(tmp_path: Path) -> None:
    """Two small notes and a trill on one note, a mordent, a turn, an inverted mordent with a small note."""
    rows = ("4G\t8aq", ".\t8bq", ".\t2.gT", "4B\t.", "4d\t.", "=2\t=2", "2.G\t2.ccM", "=3\t=3", "2.G\t4d", ".\t4eS")
    (tmp_path / "air.krn").write_text(
        "**kern\t**kern\n*M3/4\t*M3/4\n=1\t=1\n" + "\n".join(rows) + "\n.\t8ffq\n.\t4ew\n*-\t*-\n"
    )
    (air,) = read_score(tmp_path / "air.krn")
    assert [(o.onset_quarter, o.pitch, o.graces, o.sign) for o in air.ornaments] == [
        (0, 67, (69, 71), "trill"), (3, 72, (), "mordent"), (7, 64, (), "turn"), (8, 64, (77,), "inverted mordent"),
    ]  # fmt: skip
