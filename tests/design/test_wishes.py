"""What a person wishes of an arrangement: what is rather kept, bars before others, chords, other keys to hear."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from disc.design.accompany import Chords, accompanied, chords_from, read_chord
from disc.design.arranged import moved_words
from disc.design.plan import Design, plan_design
from disc.design.request import Request, carry_out
from disc.design.settings import DesignSettings, Prefer, prefer_from
from disc.errors import BadInput
from disc.job import open_job
from disc.records import Key
from disc.tables import format_comb
from disc.tune.score.read_score import read_score
from disc.tune.score.records import Rank, ScoreIn

from .small import PLATE, comb_of, score_of

WALTZ = 'X:1\nT:Waltz\nM:3/4\nL:1/4\nQ:1/4=120\nK:G\n"G"d B G|"D7"A F D|"G/B"G A "D"B|"G"G3|]\n'


def waltz(tmp_path: Path, text: str = WALTZ) -> ScoreIn:
    (tmp_path / "waltz.abc").write_text(text)
    return read_score(tmp_path / "waltz.abc")[0]


@pytest.mark.parametrize(
    "text", ["C", "Am", "D7", "Gm7", "Cmaj7", "Bdim", "F#m", "Bbm", "Eaug", "Ebmaj7", "D/F#", "C6"]
)
def test_chords_are_those_of_music21(text: str) -> None:
    """Root and third of music21's chord symbols; of a triad the fifth, else what is added, as after-beats take it."""
    from music21.harmony import ChordSymbol

    named = text.replace("Bb", "B-").replace("Eb", "E-")
    theirs = [pitch.pitchClass for pitch in ChordSymbol(named).pitches]
    chord = read_chord(text)
    assert chord is not None and chord.bass == theirs[0]
    assert set(chord.upper) <= set(theirs)
    if len(theirs) == 4:
        assert ChordSymbol(named).root().pitchClass not in chord.upper


def test_after_beats_of_a_waltz(tmp_path: Path) -> None:
    """Bass on one, two notes on two and three; where the chord changes the bass strikes again; one chord at the end."""
    score = accompanied(waltz(tmp_path), None)
    added = [note for note in score.notes if note.part == 1]
    at = {q: sorted(n.rank for n in added if n.onset_quarter == q) for q in {n.onset_quarter for n in added}}
    weak, bass = [Rank.INNER, Rank.INNER], [Rank.BASS]
    assert at[Fraction(0)] == bass and at[Fraction(1)] == weak and at[Fraction(2)] == weak
    assert at[Fraction(8)] == bass  # "D" comes on the third beat
    assert len(at[Fraction(9)]) == 3 and max(at) == 9
    classes = {n.onset_quarter: n.pitch % 12 for n in added if n.rank is Rank.BASS}
    assert [classes[Fraction(q)] for q in (0, 3, 6, 8, 9)] == [7, 2, 11, 2, 7]
    assert max(n.pitch for n in added) < max(n.pitch for n in score.melody())
    assert "5 chord symbols played as a bass with after-beats" in score.remarks[-1]
    assert len(score.melody()) == 10


def test_chord_symbols_can_be_left_out_or_broken(tmp_path: Path) -> None:
    score = waltz(tmp_path)
    left = accompanied(score, Chords.NONE)
    assert left.notes == score.notes and "5 chord symbols left out" in left.remarks[-1]
    broken = [note for note in accompanied(score, Chords.BROKEN).notes if note.part == 1]
    first = [note.rank for note in broken if note.onset_quarter < 3]
    assert first == [Rank.BASS, *[Rank.INNER] * 5]
    with pytest.raises(BadInput, match="--chords after-beats, broken, none"):
        chords_from("strum")


def test_a_tune_with_an_accompaniment_of_its_own_keeps_it(tmp_path: Path) -> None:
    text = 'X:1\nT:Two\nM:3/4\nL:1/4\nK:G\nV:1\n"G"d B G|"D7"A F D|\nV:2\nG,3|D,3|\n'
    score = accompanied(waltz(tmp_path, text), None)
    assert {note.part for note in score.notes} == {0, 1}
    assert "left out: the tune has an accompaniment" in score.remarks[-1]


def kept(design: Design, rank: Rank) -> int:
    lost = {i for i, _ in design.arrangement.lost}
    return sum(note.rank is rank and i not in lost for i, note in enumerate(design.score.notes))


def test_what_is_preferred_is_kept_more() -> None:
    """Each note of the tune stands so near two of the bass on its tooth that only it or they can be pinned."""
    tune = [(q + 0.5, 1.0, 72, Rank.MELODY) for q in range(1, 9)]
    bass = [(q + off, 1.0, 72, Rank.BASS) for q in range(1, 9) for off in (0.38, 0.62)]
    score, comb = score_of([*tune, *bass]), comb_of([72, 76])

    def of(prefer: Prefer | None) -> tuple[int, int]:
        design = plan_design(score, comb, PLATE, DesignSettings(prefer=prefer), transposition=0)
        return kept(design, Rank.MELODY), kept(design, Rank.BASS)

    assert of(None) == of(Prefer.MELODY) == (8, 0)
    assert of(Prefer.BASS) == (0, 16)
    with pytest.raises(BadInput, match="none of melody, harmony, bass, range"):
        prefer_from("rhythm")


def test_no_notes_are_moved_an_octave_where_range_is_preferred() -> None:
    """Half of the notes have their tooth an octave higher only."""
    score = score_of([(q, 1.0, pitch) for q, pitch in enumerate([72, 71] * 4)])
    comb = comb_of([72, 74, 76, 77, 79, 81, 83, 84])
    usual = plan_design(score, comb, PLATE, DesignSettings(), transposition=0).arrangement.share
    strict = plan_design(score, comb, PLATE, DesignSettings(prefer=Prefer.RANGE), transposition=0).arrangement.share
    assert usual.kept == 8 and usual.folded >= 4
    assert strict.kept == 4 and strict.folded == 0


def test_bars_kept_first_decide_the_key(tmp_path: Path) -> None:
    """Bar 1 is whole in C only, bars 2 to 4 in D flat only."""
    one = [(q, 1.0, pitch) for q, pitch in enumerate([72, 76, 79, 83])]
    rest = [(4 + q, 1.0, pitch - 1) for q, pitch in enumerate([72, 76, 79, 83] * 3)]
    score, comb = score_of([*one, *rest]), comb_of([72, 76, 79, 83])
    usual = plan_design(score, comb, PLATE, DesignSettings())
    first = plan_design(score, comb, PLATE, DesignSettings(keep_bars=((1, 1),)))
    assert usual.transposition == 1 and first.transposition == 0


def test_alternatives_are_written_with_score_sound_and_losses(tmp_path: Path) -> None:
    (tmp_path / "waltz.abc").write_text(WALTZ)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([74, 78, 79, 81, 83, 84, 86, 88, 90, 91])))
    request = Request(tmp_path / "waltz.abc", tmp_path / "job", tmp_path / "comb.csv", alternatives=1, keep_bars="1-2")
    carry_out(request)
    summary = json.loads((tmp_path / "job" / "out" / "design.json").read_text())
    other = summary["alternatives"][0]
    assert other["transposition"] != summary["transposition"]
    assert other["key"].endswith(moved_words(None, other["transposition"]).partition(", ")[2])
    assert other["lost"] == other["notes"] - other["kept"]
    for name in other["files"]:
        assert (tmp_path / "job" / name).stat().st_size > 1000
    assert summary["kept_first"]["bars"] == "1-2" and summary["kept_first"]["kept"] > 0
    assert open_job(tmp_path / "job").pins()
    for wrong, words in ((replace(request, alternatives=9), "0 to 5"), (replace(request, transpose=2), "sets the key")):
        with pytest.raises(BadInput, match=words):
            carry_out(replace(wrong, out=tmp_path / "other"))
    with pytest.raises(BadInput, match="bars 3-9 are not in what is played"):
        carry_out(replace(request, out=tmp_path / "other", keep_bars="1,3-9"))


def test_keys_are_named_as_musicians_do() -> None:
    g = Key(7, "major", 1)
    assert moved_words(g, 2) == "A major, up a tone"
    assert moved_words(g, -2) == "F major, down a tone"
    assert moved_words(g, 15) == "B flat major, up an octave and a minor third"
    assert moved_words(g, -12) == "G major, down an octave"
    assert moved_words(Key(9, "minor", 0), 0) == "A minor, as written"
