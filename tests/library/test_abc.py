"""The ABC reader against the standard's own words and against abc2midi's reading of real tunes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from disc.errors import BadInput
from disc.library.read.read_files import corpus_sources
from disc.library.read.reference import tunes_of_abc
from disc.tune.score.abc.abc_key import key_accidentals

HEAD = "X:1\nT:t\nM:4/4\nL:1/8\nK:C\n"


def read(body: str, head: str = HEAD):
    return tunes_of_abc(head + body, "f.abc", "c")[0]


def pitches(body: str, head: str = HEAD) -> list[int]:
    return read(body, head).pitch.tolist()


def tune_alone(text: str, number: int) -> str:
    """The tune of this number with what stands at the head of its file: the other hundreds are not asked for."""
    head, *tunes = re.split(r"^(?=X:)", text, flags=re.MULTILINE)
    return head + "".join(tune for tune in tunes if re.match(rf"X:\s*0*{number}\b", tune))


# abc2midi (of symusic 0.6.0, 2025) on 80 tunes of the corpus, chosen by chance. Before it read them, what it performs
# otherwise than printed was taken out: grace notes, trills, fermatas, the R: field (it swings hornpipes), chords but
# for their highest note. The differences left were looked at.
def test_reads_as_abc2midi_does():
    known = json.loads((Path(__file__).parent / "abc2midi_tunes.json").read_text(encoding="utf-8"))
    folder = corpus_sources()[0].folder.parent
    unlike = []
    for one in known:
        text = (folder / one["file"]).read_text(encoding="utf-8", errors="replace")
        ours = tunes_of_abc(tune_alone(text, one["number"]), one["file"], "")[-1]
        assert ours.key.number == one["number"]
        onset = (ours.onset_quarter - ours.onset_quarter[0]).tolist()
        same = ours.pitch.tolist() == one["pitch"] and all(
            abs(a - b) <= 0.02 for a, b in zip(onset, one["onset_quarter"], strict=True)
        )
        if not same:
            unlike.append(f"{one['file']}:{one['number']}")
    assert len(known) == 80
    assert set(unlike) <= ABC2MIDI_DIFFERS


ABC2MIDI_DIFFERS = frozenset(
    {
        "ryansMammoth/LordAlexanderGordonsStrathspey.abc:1",  # abc2midi lets > lapse where a staccato dot follows
        "ryansMammoth/ArmyAndNavyReel.abc:1",  # chords spelt with fingerings inside, which it sounds one by one
    }
)


# The ABC Music Standard 2.1, 4.2: an accidental holds to the end of the bar.
def test_accidental_holds_through_the_bar_and_no_further():
    assert pitches("^F F F F | F") == [66, 66, 66, 66, 65]


def test_natural_cancels_the_key_within_the_bar():
    assert pitches("F =F F | F", HEAD.replace("K:C", "K:G")) == [66, 65, 65, 66]


def test_fermata_does_not_drop_the_note():
    assert pitches("C HD E | HF2 !fermata!G") == [60, 62, 64, 65, 67]


# Standard 2.1, 4.11: a tie joins two notes of a pitch; over a bar line it keeps the accidental.
def test_tie_is_one_strike():
    tune = read("^c2-|c2 c2-c2 d")
    assert tune.pitch.tolist() == [73, 72, 74]


@pytest.mark.parametrize(
    "body, played",
    [
        ("|: C D | E :| F", [60, 62, 64, 60, 62, 64, 65]),  # 4.8
        ("C D | E :| F", [60, 62, 64, 60, 62, 64, 65]),  # 4.8: no start sign, from the beginning
        ("|: C |1 D :|2 E |]", [60, 62, 60, 64]),  # 4.9
        ("|: C | [1 D :| [2 E || F", [60, 62, 60, 64, 65]),  # 4.9
        ("|: C |1,3 D :|2 E :|", [60, 62, 60, 64, 60, 62]),  # 4.10
        ("C :: D :| E", [60, 60, 62, 62, 64]),  # 4.8
    ],
)
def test_repeats_are_played_out(body, played):
    assert pitches(body) == played


# Standard 2.1, 3.1.9: the header's P: orders the parts.
def test_order_of_parts():
    assert pitches("P:A\nC|\nP:B\nD|", "X:1\nT:t\nM:4/4\nL:1/8\nP:ABA\nK:C\n") == [60, 62, 60]


# Standard 2.1, 3.1.14, the table of modes: one sharp is G major, E minor, A dorian, D mixolydian.
@pytest.mark.parametrize(
    "key", ["G", "Gmaj", "Em", "E minor", "ADor", "A Dorian", "DMix", "D Mixolydian", "BPhr", "CLyd"]
)
def test_modes_of_one_sharp(key):
    assert key_accidentals(key) == {"F": 1}


def test_explicit_accidentals_and_pipes():
    assert key_accidentals("D =c") == {"F": 1, "C": 0}
    assert key_accidentals("HP") == {"F": 1, "C": 1}


# Standard 2.1, 3.1.7: without L: an eighth, a sixteenth where the metre is under 3/4.
@pytest.mark.parametrize("metre, quarter", [("4/4", 0.5), ("6/8", 0.5), ("2/4", 0.25), ("3/4", 0.5)])
def test_default_note_length(metre, quarter):
    tune = read("C D", f"X:1\nT:t\nM:{metre}\nK:C\n")
    assert tune.onset_quarter.tolist() == [0.0, quarter]


# Standard 2.1, 4.13 (three in the time of two) and 4.4 (broken rhythm).
def test_tuplet_and_broken_rhythm():
    assert read("(3CDE F").onset_quarter.tolist() == pytest.approx([0, 1 / 3, 2 / 3, 1])
    assert read("C>D E<F G").onset_quarter.tolist() == [0, 0.75, 1.0, 1.25, 2.0]


def test_several_tunes_in_one_file_keep_their_numbers():
    tunes = tunes_of_abc(HEAD + "C D\n\n" + HEAD.replace("X:1", "X: 0042") + "E F\n", "f.abc", "c")
    assert [str(tune.key) for tune in tunes] == ["f.abc:1", "f.abc:42"]


def test_printed_bar_numbers_count_an_upbeat_as_none_and_a_split_bar_once():
    tune = read("C2 | D8 | E6 :: F2 | G8 |")
    assert dict(zip(tune.pitch.tolist(), tune.bar.tolist(), strict=True)) == {60: 0, 62: 1, 64: 2, 65: 2, 67: 3}


@pytest.mark.parametrize(
    "text", ["", "no tune", "X:1\nK:C\n", "X:1\nK:C\n|:|:||", "\0\1", "X:1\nK:\n(9:0:0[[[[", "X:1\nL:0/0\nK:C\nC/0"]
)
def test_damaged_text_is_no_tune_or_a_tune_but_never_a_fault(text):
    assert len(tunes_of_abc(text, "f", "c")) <= 1


def test_a_note_longer_than_can_be_counted_is_refused_in_one_line():
    with pytest.raises(BadInput, match="out of all measure"):
        tunes_of_abc("X:1\nL:1/8\nK:D\nA f9999999999999999999999 g|", "a.abc", "")
