"""Versions, typed melodies, several tunes on a disc, and old texts: what is found by a melody's own steps."""

from __future__ import annotations

import numpy as np
import pytest

from disc.library.notes_in import query_of_notes
from disc.library.search.asked.query import make_query
from disc.library.search.chains.chain import PLAIN, MelodyLine, interval_nats, lay, shelf_of, step_tables, trace
from disc.library.search.chains.tempi import trial_tempi
from disc.library.search.find_tunes import find_tunes
from disc.library.search.parts import parts_of
from disc.library.search.places.placed import is_version
from disc.tune.score.files.old_text import decode_old
from tests.bench.truth.practice import LEVELS, practice_disc

ROW = np.array([60, 62, 64, 60, 65, 64, 62, 67, 65, 64])
ONSET = np.cumsum([0, 1, 1, 2, 0.5, 0.5, 1, 1, 2, 1.0])


def laid(onset, pitch):
    shelf = shelf_of(onset, np.asarray(pitch), np.array([0, len(pitch)]))
    table = step_tables(MelodyLine(ONSET, ROW, np.ones(ROW.size)), PLAIN, interval_nats(PLAIN))
    (chain,) = trace(table, shelf, PLAIN)[0] or [[]]
    return float(lay(table, shelf, PLAIN)[0]), chain


# By hand: nine steps, each alike in pitch (1.0) and in time (0.5); times are kept to a twelfth of an octave.
def test_the_same_melody_in_another_key_is_all_one_chain():
    nats, pairs = laid(ONSET, ROW + 5)
    assert nats == pytest.approx(9 * (PLAIN.same + PLAIN.same_time), abs=9 * PLAIN.time_slope / 24)
    assert pairs == [(i, i) for i in range(10)]


def test_an_ornament_costs_a_step_and_not_the_rest():
    nats, pairs = laid(np.insert(ONSET, 4, 3.8), np.insert(ROW, 4, 72))
    whole, _ = laid(ONSET, ROW)
    assert whole - PLAIN.skip == pytest.approx(nats, abs=0.15)
    assert pairs == [(i, i + (i >= 4)) for i in range(10)]


# By hand: the second half first costs one leap and the step across; without leaps only the longer half is there.
def test_a_disc_that_begins_in_the_middle_of_its_tune_is_laid_in_two_pieces():
    rng = np.random.default_rng(5)
    pitch, step = rng.integers(55, 80, 40), PLAIN.same + PLAIN.same_time
    onset = np.cumsum(rng.choice([0.25, 0.5, 1.0], 40))
    turned = MelodyLine(np.arange(40) * 0.5, np.roll(pitch, -22), np.ones(40))
    turned = MelodyLine(np.cumsum(np.roll(np.diff(onset, prepend=0.0), -22)), turned.pitch, turned.likely)
    table = step_tables(turned, PLAIN, interval_nats(PLAIN))
    shelf = shelf_of(onset, pitch, np.array([0, 40]))
    assert lay(table, shelf, PLAIN)[0] == pytest.approx(21 * step, abs=2.0)
    assert lay(table, shelf, PLAIN, pieces=True)[0] == pytest.approx(38 * step - PLAIN.leap, abs=3.0)
    first, second = trace(table, shelf, PLAIN, pieces=True)[0]
    assert first == [(i, i + 22) for i in range(18)] and second == [(i + 18, i) for i in range(22)]


def test_of_nothing_in_common_there_is_no_long_chain():
    nats, _ = laid(np.arange(10) * 0.37, np.random.default_rng(3).integers(40, 90, 10))
    assert nats < 5.0


@pytest.mark.parametrize("written", [0.25, 1.0, 8.0])
def test_the_tempo_follows_the_print_however_long_its_notes(written):
    lengths = np.array([1, 1, 2, 1, 1, 2, 3, 1.0])
    quarters = np.concatenate([[0.0], lengths * written])
    tempo = trial_tempi(lengths * 0.3, quarters, np.array([0, quarters.size]), 1)[0, 0]
    assert tempo * written == pytest.approx(0.3, rel=0.06)


@pytest.mark.parametrize("text", ["G4 A4 B4 C5 D5 B4", "G A B c d B", "X:1\\nL:1/4\\nK:C\\nGABcdB"])
def test_typed_notes_are_read_as_note_names_or_as_abc(text):
    query = query_of_notes(text)
    assert query.pitch.tolist() == [67, 69, 71, 72, 74, 71] and not query.timed


def test_lengths_typed_are_rhythm_and_parsons_code_is_a_contour():
    timed = query_of_notes("G2 A B c d2 B")
    assert timed.timed and np.diff(timed.onset_s).tolist() == pytest.approx([0.5, 0.25, 0.25, 0.25, 0.5])
    rises = query_of_notes("*uudrd")
    assert rises.contour and np.diff(rises.pitch).tolist() == [1, 1, -1, 0, -1]


def test_a_beginning_typed_without_rhythm_is_found(small):
    tune = next(i for i in range(60, small.size) if np.unique(small.reference(i).onset_tick).size > 40)
    reference = small.reference(tune)
    query = query_of_notes(" ".join(_name(p) for p in reference.pitch[:20]))
    found = find_tunes(small, query, 5)
    assert found[0].key == reference.key and found[0].agree >= 15 and found[0].transposition is None


def _name(pitch: int) -> str:
    return ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")[pitch % 12] + str(pitch // 12 - 1)


def test_two_tunes_on_a_disc_are_each_named_in_their_part_and_one_is_not_parted(small):
    rng = np.random.default_rng(12)
    chosen = [i for i in (70, 300) if small.reference(i).pitch.size > 30]
    first, second = (practice_disc(small.reference(i), LEVELS["mild"], rng) for i in chosen)
    onset = np.concatenate([first.onset_s, first.onset_s[-1] + 1.0 + second.onset_s - second.onset_s[0]])
    query = make_query(onset, np.concatenate([first.pitch, second.pitch]).astype(float), None, "both")
    parts = parts_of(small, query, find_tunes(small, query))
    named = [small.tune_of(part.matches[0].key) for part in parts]
    assert len(parts) == 2 and parts[0].to_turn < parts[1].from_turn
    assert all(is_version(small, a, b) for a, b in zip(chosen, named, strict=True))
    alone = make_query(first.onset_s, first.pitch.astype(float), None, "one")
    assert parts_of(small, alone, find_tunes(small, alone)) == []


# Code page 437: 0x94 is o with two dots, 0xe1 the sharp s (IBM's table, from memory; Python's codec agrees).
@pytest.mark.parametrize(
    "data",
    [
        "ein schönes Haus, süß".encode("cp437"),
        "ein schönes Haus, süß".encode("latin-1"),
        "ein schönes Haus, süß".encode(),
        "ein schönes Haus, süß".encode("cp437").decode("latin-1").encode(),
    ],
)
def test_old_texts_are_decoded_whatever_their_code(data):
    assert decode_old(data) == "ein schönes Haus, süß"


def test_rises_and_falls_claim_no_more_than_their_share_of_the_tunes_that_fit(small):
    steps = np.sign(np.diff(small.reference(40).pitch))
    signs = "".join({1: "u", -1: "d", 0: "r"}[int(step)] for step in steps)
    short = find_tunes(small, query_of_notes("*" + signs[:6]), 20)
    assert short[0].probability <= 0.2  # six signs stand in many tunes
    whole = find_tunes(small, query_of_notes("*" + signs), 3)
    assert small.key(40) in [match.key for match in whole if match.probability > 0.3]
    wrong = "".join({"u": "d", "d": "u", "r": "u"}[sign] if i % 5 == 2 else sign for i, sign in enumerate(signs))
    assert find_tunes(small, query_of_notes("*" + wrong), 3)[0].probability == 0.0
