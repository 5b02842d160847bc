"""Searching the small library: practice discs with known truth, odd input, versions, one tempo and transposition."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from disc.errors import BadInput
from disc.library.answer import verdict
from disc.library.notes_in import query_of_notes
from disc.library.read.versions import plain_title
from disc.library.records import TuneKey
from disc.library.search.asked.disc_pulse import divided, find_grids, further_grids, unlike
from disc.library.search.asked.melody import melody_probability
from disc.library.search.asked.query import make_query
from disc.library.search.find_tunes import allowed_tunes, find_tunes, with_versions
from disc.library.search.places.by_order import places_by_order
from disc.library.search.places.rank_search import look, solve_tunings
from disc.library.search.places.rate import ABSENT_NATS, CELL_S, draw
from disc.library.search.places.vote import Candidates, _fullest
from disc.library.search.ranking import rank_tunes as rank_tunes_module
from disc.library.search.ranking.belief import Signs, probability
from disc.library.search.ranking.rank_tunes import rank_tunes
from tests.bench.truth.practice import LEVELS, practice_disc


def discs(index, level, count, seed):
    rng = np.random.default_rng(seed)
    while count:
        tune = int(rng.integers(index.size))
        disc = practice_disc(index.reference(tune), LEVELS[level], rng)
        if disc is not None and disc.onset_s.size >= 20:
            count -= 1
            yield tune, disc


def first_is_right(index, tune, query):
    found = rank_tunes(index, query).found
    return bool(found) and int(index.group[found[0].tune]) == int(index.group[tune])


# Of 12 discs; on the whole library the shares are measured by tests/bench/measure/identify.py.
@pytest.mark.parametrize("level, order_only, least", [("mild", False, 12), ("hard", False, 11), ("medium", True, 10)])
def test_finds_practice_discs(small, level, order_only, least):
    right = 0
    for tune, disc in discs(small, level, 12, 31):
        pitch = None if order_only else disc.pitch.astype(float)
        right += first_is_right(small, tune, make_query(disc.onset_s, pitch, disc.rank if order_only else None, "d"))
    assert right >= least


def test_tells_transposition_tempo_and_place(small):
    for tune, disc in discs(small, "mild", 4, 5):
        match = find_tunes(small, make_query(disc.onset_s, disc.pitch.astype(float), None, "d"), 1)[0]
        if match.key == small.key(tune):
            assert (match.transposition - disc.transposition) % 12 == pytest.approx(0, abs=1e-6)
            assert match.tempo_ratio * 0.5 == pytest.approx(disc.quarter_s, rel=0.01)
            assert match.agree >= 0.8 * (disc.melody >= 0).sum()


def test_same_input_same_answer_whatever_its_transposition(small):
    _, disc = next(discs(small, "hard", 1, 8))
    plain = find_tunes(small, make_query(disc.onset_s, disc.pitch.astype(float), None, "d"), 3)
    again = find_tunes(small, make_query(disc.onset_s, disc.pitch.astype(float), None, "d"), 3)
    higher = find_tunes(small, make_query(disc.onset_s + 2.0, disc.pitch + 3.0, None, "d"), 3)
    assert [m.key for m in plain] == [m.key for m in again]
    assert plain[0].key == higher[0].key
    assert higher[0].transposition == pytest.approx(plain[0].transposition + 3.0)


def test_excluded_and_other_collections_are_not_found(small):
    tune, disc = next(discs(small, "mild", 1, 12))
    query = make_query(disc.onset_s, disc.pitch.astype(float), None, "d")
    without = allowed_tunes(small, None, [small.key(tune)])
    assert small.key(tune) not in [m.key for m in find_tunes(small, query, 20, without)]
    inside = allowed_tunes(small, "miscFolk", [])
    assert {m.collection for m in find_tunes(small, query, 20, inside)} <= {"miscFolk"}
    with pytest.raises(BadInput, match=r"no collection 'none'.*airdsAirs"):
        allowed_tunes(small, "none", [])
    assert allowed_tunes(small, None, [TuneKey("gone.abc", 1)]).all()


def test_a_disc_that_is_surely_known_is_not_looked_at_further(small, monkeypatch):
    def dear(*_):
        raise AssertionError("votes for exact places are dear")

    monkeypatch.setattr(rank_tunes_module, "places_by_pitch", dear)
    _, disc = next(discs(small, "mild", 1, 31))
    assert rank_tunes(small, make_query(disc.onset_s, disc.pitch.astype(float), None, "d")).found
    rng = np.random.default_rng(3)
    noise = make_query(np.cumsum(rng.uniform(0.1, 0.7, 70)), rng.integers(60, 85, 70).astype(float), None, "noise")
    with pytest.raises(AssertionError, match="dear"):
        rank_tunes(small, noise)


def test_noise_is_not_in_the_library(small):
    rng = np.random.default_rng(3)
    onset = np.cumsum(rng.uniform(0.1, 0.7, 70))
    match = find_tunes(small, make_query(onset, rng.integers(60, 85, 70).astype(float), None, "noise"), 1)
    assert not match or match[0].probability < 0.2


def test_versions_stand_under_their_best(small):
    _tune, disc = next(discs(small, "mild", 1, 2))
    matches = find_tunes(small, make_query(disc.onset_s, disc.pitch.astype(float), None, "d"), 10)
    grouped = with_versions(matches)
    assert len({m.group for m in grouped}) == len(grouped)
    assert sum(1 + len(m.versions) for m in grouped) == len(matches)
    assert plain_title("The Ranting Highlandman.") == plain_title("RANTING HIGHLANDMAN")


def test_no_other_match_is_likelier_than_the_first(small):
    tune, disc = next(discs(small, "hard", 1, 5))
    query = make_query(disc.onset_s, disc.pitch.astype(float), None, "d")
    for allowed in (None, allowed_tunes(small, None, [small.key(tune)])):
        chances = [match.probability for match in find_tunes(small, query, 10, allowed)]
        assert len(chances) > 1 and max(chances) == chances[0] and sum(chances) <= 1.0


def test_where_nothing_sounds_an_absent_note_says_nothing():
    onset = np.concatenate([np.arange(0, 8, 0.4), np.arange(10, 18, 0.4)])  # silent from 7.6 to 10 s
    pitch = np.full(onset.size, 72)
    picture = draw(onset, pitch, np.ones(onset.size), 0.02)
    lost = picture.gain[65]  # a pitch that no tooth has
    at = ((np.array([4.0, 8.8, 14.0]) - picture.first_s) / CELL_S).astype(int)
    assert lost[at].tolist() == pytest.approx([ABSENT_NATS, 0.0, ABSENT_NATS])


def test_slow_notes_are_no_silence():
    onset = np.arange(0, 40, 1.5)
    picture = draw(onset, np.full(onset.size, 72), np.ones(onset.size), 0.02)
    assert (picture.gain[65] == np.float32(ABSENT_NATS)).all()


def test_further_pulses_are_unlike_those_tried():
    rng = np.random.default_rng(2)
    onset = 1.0 + np.sort(rng.choice(np.arange(90), 50, replace=False)) * 0.25 + rng.normal(0, 0.015, 50)
    tried = [divided(onset, grid) for grid in unlike(find_grids(onset, 4), 2)]
    more = further_grids(onset, tried)
    assert more
    for grid in more:
        assert all(abs(grid.step_s / other.step_s - 1) > 0.01 for other in tried)
        np.testing.assert_array_equal(grid.place, np.round((onset - grid.start_s) / grid.step_s))


def test_grid_of_a_steady_pulse():
    rng = np.random.default_rng(1)
    place = np.sort(rng.choice(np.arange(120), 60, replace=False))
    grid = find_grids(3.0 + place * 0.21 + rng.normal(0, 0.01, 60), 1)[0]
    assert grid.step_s == pytest.approx(0.21, rel=1e-3)
    assert (grid.place == place - place[0]).all()


def test_the_comb_is_solved_for_with_the_tune(small):
    tune, disc = next(discs(small, "mild", 1, 31))
    grids = find_grids(disc.onset_s, 1)
    reference = disc.tune
    quarters = round(grids[0].step_s / disc.quarter_s * 48) / 48
    first = int(np.flatnonzero(disc.melody >= 0)[0])
    start = reference.onset_quarter[disc.melody[first]] - grids[0].place[first] * quarters
    one = np.ones(1, dtype=np.int64)
    trial = Candidates(one * tune, one * 0, one * 0, one * quarters, np.array([start]), one, one * 0)
    weight = np.where(disc.melody >= 0, 1.0, 0.1)
    late = Candidates(*(np.tile(getattr(trial, field.name), 2) for field in fields(Candidates)))
    late.start_quarter[1] += 5 * quarters  # the same notes five steps off: the look must tell
    near = int(disc.melody[first])
    late.note[:] = near
    right, wrong = look(small, late, grids, disc.rank, weight)
    assert right > 1.5 * wrong
    solved = solve_tunings(small, trial, grids, disc.rank, weight)
    mapped = solved.pitch_of_rank[0][disc.rank]
    known = (disc.melody >= 0) & (mapped >= 0)
    right = mapped[known] == reference.pitch[disc.melody[known]]
    assert known.sum() > 0.7 * (disc.melody >= 0).sum() and right.mean() > 0.9
    rising = solved.pitch_of_rank[0][solved.pitch_of_rank[0] >= 0]
    assert (np.diff(rising) > 0).all()


@pytest.mark.parametrize(
    "onset, pitch, words",
    [
        ([], [], "no strikes"),
        ([1.0], [60], "one strike"),
        ([2.0] * 50, list(range(50, 100)), "within one second"),
        (list(range(3000)), [60] * 3000, "3000 strikes"),
        ([0, 1, 2, 3, float("nan")], [60] * 5, "not a number"),
        ([0, 1, 2, 3, 4], [60, 60, 60, 60, 999], "0 to 140"),
        ([0, 1e6, 2e6, 3e6, 4e6], [60] * 5, "milliseconds"),
    ],
)
def test_input_no_disc_can_give_is_refused(onset, pitch, words):
    with pytest.raises(BadInput, match=words):
        make_query(np.array(onset, dtype=float), np.array(pitch, dtype=float), None, "file.csv")


def test_one_tooth_struck_over_and_over_finds_nothing_certain(small):
    matches = find_tunes(small, make_query(np.arange(60) * 0.5, np.full(60, 70.0), None, "d"), 3)
    assert not matches or matches[0].probability < 0.9


@pytest.mark.parametrize("notes", range(5, 10))
@pytest.mark.parametrize("by_rank", [False, True])
def test_however_few_notes_are_searched_for(small, notes, by_rank):
    reference = small.reference(60)
    onset, pitch = np.arange(notes) * 0.4, reference.pitch[:notes].astype(float)
    values = (None, np.unique(pitch, return_inverse=True)[1]) if by_rank else (pitch, None)
    for match in find_tunes(small, make_query(onset, *values, "few"), 3):
        assert 0.0 <= match.probability <= 1.0


# A rising and falling scale stands in many prints note for note: none of them is claimed, and all are counted.
@pytest.mark.parametrize("timed", [True, False])
def test_what_many_prints_have_alike_is_claimed_of_none(small, timed):
    scale = query_of_notes("G4 A4 B4 C5 D5 C5 B4 A4") if not timed else query_of_notes("GABcdcB2A")
    assert scale.timed is timed
    best = find_tunes(small, scale, 3)[0]
    assert best.alike > 10 and best.probability < 0.2
    assert verdict([best]).startswith(f"Too little to tell: {best.alike} tunes fit")


def test_by_order_a_tune_is_kept_for_its_steps_alone_where_no_tuning_speaks_for_it(small):
    _, disc = next(discs(small, "hard", 1, 8))
    query = make_query(disc.onset_s, None, disc.rank, "d")
    likely = melody_probability(query.onset_s, query.rank.astype(float), True)
    found = next(places_by_order(small, query, likely, None))
    assert any(one.score <= 0 for one in found) and [one.score for one in found] == sorted(
        (one.score for one in found), reverse=True
    )


# By hand: three votes for one start, one for the next step, one for another tune; a neighbour counts half.
def test_votes_for_one_start_are_added_and_half_of_those_a_step_beside():
    name = np.array([7, 7, 7, 7, 900], dtype=np.uint32)
    start, worth = np.array([4, 5, 4, 4, 4], dtype=np.int32), np.array([1.0, 2.0, 3.0, 5.0, 1.5])
    vote, votes = _fullest(name, start, worth, 10)
    assert vote.tolist() == [0, 1, 4] and votes.tolist() == [9.0 + 1.0, 2.0 + 4.5, 1.5]
    assert _fullest(name, start, worth, 1)[0].tolist() == [0]
    assert _fullest(name[:0], start[:0], worth[:0], 5)[0].size == 0


@pytest.mark.parametrize("chain, rival_chain, sure", [(26.0, 24.0, False), (60.0, 15.0, True)])
def test_a_long_chain_is_not_enough_where_another_tune_has_one_as_long(chain, rival_chain, sure):
    signs = Signs(
        chain, rival_chain, chain, 47.0, "pitch",
        rival_chain=rival_chain, placed=5.0 * chain, rival_placed=5.0 * rival_chain, strikes=60,
    )  # fmt: skip
    assert rank_tunes_module._is_sure(signs, 0) is sure


# What the print leaves unexplained on the disc, and the disc of the print, tells a relation of the tune from the tune.
def test_what_disc_and_print_leave_of_each_other_counts():
    signs = Signs(
        60.0, 20.0, 40.0, 50.0, "pitch",
        rival_chain=18.0, placed=250.0, rival_placed=120.0, strikes=70, agree=48, absent=2,
    )  # fmt: skip
    relation = replace(signs, agree=25, absent=25)
    assert probability(signs) > 0.95 and probability(relation) < probability(signs)
    assert probability(replace(signs, teeth=3)) == 0.0  # a rhythm alone fits any tune with that rhythm
