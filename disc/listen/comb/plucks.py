"""Which attacks are plucks, and of which tooth: one best path through all attacks.

The path counts teeth and plucks of each tooth. What draws it: an attack with a new tone is almost surely a pluck; a
click may be a dead tooth's; two plucks of one tooth have one pitch and similar clicks; a hand plucks at its own pace,
so a gap long enough for another tooth had one, heard or not. Ticks and knocks fall out because nothing of this speaks
for them. So a dead tooth keeps its number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from disc.listen.comb.along_comb import agree_along_comb
from disc.listen.sound.appearing import tones_that_appear, with_quiet
from disc.listen.sound.attacks import Attack, find_attacks
from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import pitch_of_hz, transform
from disc.listen.sound.beginnings import (
    NewTone,
    for_fundamentals,
    fundamental,
    harmonic_fundamental,
    has_harmonics,
    new_tones,
    quiet_fundamental,
)
from disc.listen.sound.steady_tones import without_steady
from disc.listen.turn.place.tones import tones_of

# Scores stand for log-odds in nats; chosen by hand on the development and second sets, not fitted.
LIVE_SCORE = 10.0
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
PASSED_OVER = -8.0  # a tone that begins and is not taken as a pluck
SAME_PITCH, OTHER_PITCH = 3.0, -12.0  # of two plucks said to be of one tooth
HALF_DEAD = -9.0  # one pluck rings, the other does not
UNHEARD = -5.0  # a tooth or a pluck of which nothing is heard
TICK = -5.0  # what an attack that is a tick counts against a dead tooth's pluck
NO_CLICK = -4.0  # a dead tooth's pluck where the attack is not sharp, or a tick
# One hand plucks one tooth about equally hard; a tone much weaker than its like nearby is no pluck of its own.
FORCE_RANGE_DB, LACK_PER_DB = 6.0, 1.2
LONELY = 4.0  # a tone heard only once within some seconds is hardly one of a tooth's plucks
# A tone counts as a tooth's if it is new, clear and not far below the recording's usual pluck.
LEAST_OVER_DB, LEAST_SHARE, LEVEL_RANGE_DB, LEAST_T60_S = 15.0, 0.35, 30.0, 0.10
# A tone louder in its second tenth of a second began later than this attack (a tick just before a pluck). 4 and 6 dB
# lost ten teeth of a noisy recording of the second set.
GROWING_DB = 2.5
SWELLING_DB, SHARP_DB = 6.0, 15.0  # after a sharp attack that is no tick the tone may swell: some instruments do
LEAST_ALIKE, LEAST_ALIKE_SHARE = 4, 0.15  # attacks with the same interval from partial to quiet fundamental
HARMONIC_SHARE = 0.3  # of the attacks, from which the instrument has whole-number partials; chance gives a tenth
# A fundamental may be the tenth strongest peak, under hum and a sounding board's thump.
PEAKS = 12
NEAR_PLUCKS, REGISTERS_DB = 12, 15.0  # how far a register's loud plucks may lie under those of the whole comb
# A tone heard once is no tooth's so far under the lowest or over the highest that are heard again; share of the tones,
# and their number, from which that is asked. Chosen by hand: a fifth from one tooth to the next and a little more.
STRAY_SEMITONES, MOST_COME_BACK, FEWEST_BACK = 8.0, 0.6, 6
LONGEST_USUAL_S = 4.0  # a tone that swells at first seems to ring for ever
LEAST_T60_SHARE = 0.1  # of the usual ring time: a knock on the bench is shorter
# Of the ring time of the loud plucks nearest in pitch; knocks, a vowel, a dead tooth's choked note ring shorter. Teeth
# that buzz ring 0.35 of their like at least (drawn combs).
LEAST_LIKE_SHARE, LIKE_PLUCKS, FEWEST_LIKE, LIKE_LOUD_DB = 0.22, 8, 4, 12.0
SAME_PITCH_SEMITONES = 0.5  # within which two plucks are of one tooth; teeth of a comb lie a semitone apart at least
# from one pluck to the next, and the longest that is looked back over; chosen by hand
SHORTEST_GAP_S, LONGEST_GAP_S = 0.22, 12.0
MOST_UNHEARD = 3  # teeth in a row


@dataclass(frozen=True)
class PluckStart:
    """An attack with what begins there. tone: the fundamental where a tooth seems to ring, else None."""

    attack: Attack
    tone: NewTone | None
    tones: tuple[NewTone, ...]
    score: float

    @property
    def time_s(self) -> float:
        """When it begins."""
        return self.attack.time_s

    @property
    def pitch(self) -> float | None:
        """MIDI number of the tone."""
        return None if self.tone is None else pitch_of_hz(self.tone.frequency_hz)


@dataclass(frozen=True)
class PluckingPace:
    """How the hand plucks: seconds between plucks of one tooth and from tooth to tooth, and the spread of their
    logarithms."""

    within_s: float
    between_s: float
    spread: float


@dataclass(frozen=True)
class Pluck:
    """One pluck of tooth (1, 2, ... in order of plucking). candidate: None where it was not heard."""

    tooth: int
    turn: int
    candidate: PluckStart


def find_plucks(recording: Recording, teeth: int | None, plucks: int) -> list[Pluck]:
    """The plucks in time order, each with the tooth's place in the order of plucking. teeth: how many, if known."""
    return plucks_and_rest(recording, teeth, plucks)[0]


def plucks_and_rest(recording: Recording, teeth: int | None, plucks: int) -> tuple[list[Pluck], list[PluckStart]]:
    """The plucks as find_plucks gives them, and what begins that is none."""
    attacks = find_attacks(recording)
    low = for_fundamentals(recording)
    attacks = with_quiet(attacks, tones_that_appear(low))
    heard = without_steady(low, [new_tones(low, attack.time_s, PEAKS) for attack in attacks])
    candidates = judge(attacks, heard)
    # A tooth plucked again while it rings may set off no rise of the level: look for the tones already known.
    quiet = _renewed(recording, candidates)
    if quiet:
        again = list(zip(quiet, without_steady(low, [new_tones(low, a.time_s, PEAKS) for a in quiet]), strict=True))
        both = [*zip(attacks, heard, strict=True), *((a, tones) for a, tones in again if _is_fresh(tones))]
        both.sort(key=lambda pair: pair[0].time_s)
        candidates = judge([a for a, _ in both], [tones for _, tones in both])
    if not any(c.tone for c in candidates):
        return [], candidates
    one_by_one, pace = _pace(candidates, plucks)
    if one_by_one:
        path = best_path(candidates, teeth, plucks, pace)
        return [Pluck(k, j, candidates[i]) for i, k, j in path], _rest(candidates, path)
    # The whole comb was plucked, then once more: every pluck is a place of its own, folded by the number of teeth.
    path = best_path(candidates, teeth * plucks if teeth else None, 1, pace)
    count = teeth or int(np.ceil(max(k for _, k, _ in path) / plucks))
    return [Pluck((k - 1) % count + 1, (k - 1) // count + 1, candidates[i]) for i, k, _ in path], _rest(
        candidates, path
    )


def _rest(candidates: Sequence[PluckStart], path: Sequence[tuple[int, int, int]]) -> list[PluckStart]:
    taken = {i for i, _, _ in path}
    return [c for i, c in enumerate(candidates) if i not in taken]


# A tone begins again where its strength has this share of its most, is so steady (0 to 1), and so far from any
# attack. Chosen by hand on plucked development recordings, not fitted.
RENEWED_SHARE, RENEWED_STEADY, RENEWED_APART_S = 0.35, 0.8, 0.05
# A tone is taken for a tooth's if it grew by so much and stands so far over its noise; chosen likewise.
FRESH_GROWTH_DB, FRESH_OVER_DB = 10.0, 25.0
# Seen on five recordings: true ones lose 1 dB at most, those of beating strings 6 dB or more.
FRESH_LOSS_DB = -3.0
RENEWED_RISE_DB = 10.0  # counts as an attack of middling sharpness


def _renewed(recording: Recording, candidates: Sequence[PluckStart]) -> list[Attack]:
    """Beginnings of the tones heard so far where no attack stands."""
    pitches: list[float] = []
    for c in candidates:
        fresh = c.tone is not None and c.tone.growth_db > FRESH_GROWTH_DB and c.tone.over_db > FRESH_OVER_DB
        if fresh and c.pitch is not None and all(abs(c.pitch - p) > 0.3 for p in pitches):
            pitches.append(c.pitch)
    if not pitches:
        return []
    tones = tones_of(transform(recording), dict(enumerate(pitches)))
    times = np.array([c.time_s for c in candidates if c.tone])
    found: list[Attack] = []
    for row, steady in zip(tones.strength, tones.steady, strict=True):
        places, _ = find_peaks(row, height=RENEWED_SHARE * row.max(), distance=round(SHORTEST_GAP_S / tones.step_s))
        for k in places:
            at = float(k * tones.step_s)
            apart = min((abs(at - t) for t in (*times, *(a.time_s for a in found))), default=9.0)
            if steady[k] > RENEWED_STEADY and apart > RENEWED_APART_S:
                found.append(Attack(at, RENEWED_RISE_DB, (-60.0, -60.0, -60.0)))
    return found


def _is_fresh(tones: Sequence[NewTone]) -> bool:
    """Whether a beginning that no rise of the level shows is one: its loudest tone has not just become much weaker, as
    where two strings or a tremble beat."""
    return bool(tones) and tones[0].growth_db > FRESH_LOSS_DB and tones[0].over_db > LEAST_OVER_DB


def weigh(recording: Recording, attacks: Sequence[Attack]) -> list[PluckStart]:
    """Every attack with what begins there and how much speaks for a pluck."""
    low = for_fundamentals(recording)
    return judge(attacks, [new_tones(low, attack.time_s, PEAKS) for attack in attacks])


def judge(attacks: Sequence[Attack], heard: Sequence[list[NewTone]]) -> list[PluckStart]:
    """The same from the tones that begin at each attack."""
    usual_db = _usual_levels(heard)
    rings = [
        min(tones[0].t60_s, LONGEST_USUAL_S)
        for tones, usual in zip(heard, usual_db, strict=True) if tones and tones[0].level_db > usual - 12.0
    ]  # fmt: skip
    least_t60 = max(LEAST_T60_S, LEAST_T60_SHARE * float(np.median(rings))) if rings else LEAST_T60_S
    clear = [
        [t for t in tones if _is_tooth(attack, t, usual, least_t60)]
        for attack, tones, usual in zip(attacks, heard, usual_db, strict=True)
    ]
    found = []
    fundamentals = agree_along_comb(heard, _fundamentals(clear, heard))
    for attack, tones, tone in zip(attacks, heard, fundamentals, strict=True):
        if tone is not None:
            score = LIVE_SCORE + min(2.0, attack.rise_db / 15.0)
        else:
            score = _click_score(attack)
        found.append(PluckStart(attack, tone, tuple(tones), score))
    return [_doubt(c, found) for c in _without_strays(_one_each(_without_short(found, usual_db)))]


def _without_short(candidates: list[PluckStart], usual_db: FloatArray) -> list[PluckStart]:
    """The candidates; a tone that dies away far sooner than the loud plucks nearest in pitch is no tooth's, but the
    click of a dead one may be under it."""
    loud = [
        k for k, c in enumerate(candidates) if c.tone is not None and c.tone.level_db > usual_db[k] - LIKE_LOUD_DB
    ]  # fmt: skip
    kept = []
    for k, c in enumerate(candidates):
        tone = c.tone
        if tone is None:
            kept.append(c)
            continue
        others = sorted((j for j in loud if j != k), key=lambda j: abs(candidates[j].pitch - c.pitch))  # type: ignore[operator]
        rings = [min(candidates[j].tone.t60_s, LONGEST_USUAL_S) for j in others[:LIKE_PLUCKS]]  # type: ignore[union-attr]
        if len(rings) >= FEWEST_LIKE and tone.t60_s < LEAST_LIKE_SHARE * float(np.median(rings)):
            kept.append(PluckStart(c.attack, None, c.tones, _click_score(c.attack)))
        else:
            kept.append(c)
    return kept


def _without_strays(candidates: list[PluckStart]) -> list[PluckStart]:
    """The candidates; where most tones come back, one that never does and lies far outside those that do is no
    tooth's: something put down after the last pluck, the board under a dead tooth's click."""
    pitches = np.array([np.nan if c.pitch is None else c.pitch for c in candidates])
    apart = np.abs(pitches[:, None] - pitches[None, :])
    back = (apart < SAME_PITCH_SEMITONES).sum(axis=1) > 1
    if back.sum() < max(FEWEST_BACK, MOST_COME_BACK * np.isfinite(pitches).sum()):
        return candidates
    low, high = pitches[back].min() - STRAY_SEMITONES, pitches[back].max() + STRAY_SEMITONES
    return [
        PluckStart(c.attack, None, c.tones, _click_score(c.attack)) if p < low or p > high else c
        for c, p in zip(candidates, pitches, strict=True)
    ]


def _usual_levels(heard: Sequence[list[NewTone]]) -> FloatArray:
    """Level in dB of the loud plucks about each attack: a register may sound much weaker than another."""
    loud = [bool(tones) and tones[0].over_db > 25.0 and tones[0].share > 0.5 for tones in heard]
    places = np.flatnonzero(loud)
    if not len(places):
        return np.zeros(len(heard))
    levels = np.array([heard[int(k)][0].level_db for k in places])
    everywhere = float(np.percentile(levels, 75))
    usual = np.empty(len(heard))
    for k in range(len(heard)):
        near = np.argsort(np.abs(places - k), kind="stable")[:NEAR_PLUCKS]
        usual[k] = max(float(np.percentile(levels[near], 75)), everywhere - REGISTERS_DB)
    return usual


def _fundamentals(clear: Sequence[list[NewTone]], heard: Sequence[list[NewTone]]) -> list[NewTone | None]:
    """The fundamental at each attack. One much weaker than its partials counts where many teeth have it so; clear: the
    tones that may be a tooth's, heard: all of them."""
    tones = [fundamental(row) for row in clear]
    quiet = [None if t is None else quiet_fundamental(row, t) for row, t in zip(clear, tones, strict=True)]
    intervals = np.array([
        np.nan if q is None or t is None else 12 * np.log2(t.frequency_hz / q.frequency_hz)
        for q, t in zip(quiet, tones, strict=True)
    ])  # fmt: skip
    needed = max(LEAST_ALIKE, LEAST_ALIKE_SHARE * sum(t is not None for t in tones))
    chosen = []
    for tone, low, interval in zip(tones, quiet, intervals, strict=True):
        alike = np.sum(np.abs(intervals - interval) < 1.0) if low is not None else 0
        chosen.append(low if low is not None and alike >= needed else tone)
    both = [(row, t) for row, t in zip(heard, chosen, strict=True) if t is not None]
    if sum(has_harmonics(row, t) for row, t in both) < max(LEAST_ALIKE, HARMONIC_SHARE * len(both)):
        return chosen
    return [None if t is None else harmonic_fundamental(row, t) or t for row, t in zip(heard, chosen, strict=True)]


def _doubt(candidate: PluckStart, all_of_them: Sequence[PluckStart]) -> PluckStart:
    """A tone that may only be the unsteady ringing of an earlier pluck speaks less for a pluck."""
    tone = candidate.tone
    if tone is None:
        return candidate
    same = [
        c.tone.level_db for c in all_of_them
        if c.tone and abs(c.time_s - candidate.time_s) < 6.0
        and abs(np.log2(c.tone.frequency_hz / tone.frequency_hz)) < 0.02
    ]  # fmt: skip
    lack_db = max(same) - tone.level_db
    score = candidate.score - LACK_PER_DB * max(0.0, lack_db - FORCE_RANGE_DB)
    if len(same) < 2:
        score -= LONELY
    if tone.growth_db < 3.0:
        score -= 2.0 + (4.0 if candidate.attack.tick else 0.0)
    if score > 0:
        return replace(candidate, score=score)
    # Ringing that was only stirred up, or a dead tooth whose dull note is choked: then it still clicks.
    sharp = candidate.attack.rise_db > SHARP_DB and not candidate.attack.tick
    return PluckStart(candidate.attack, None, candidate.tones, _click_score(candidate.attack) if sharp else NO_CLICK)


def _click_score(attack: Attack) -> float:
    """How much speaks for the pluck of a dead tooth."""
    return float(np.clip((attack.rise_db - 12.0) / 6.0, -2.0, 2.5)) + (TICK if attack.tick else 0.0)


def _is_tooth(attack: Attack, tone: NewTone, usual_db: float, least_t60_s: float) -> bool:
    sharp = attack.rise_db > SHARP_DB and not attack.tick
    growing = tone.later_db > (SWELLING_DB if sharp else GROWING_DB)  # it begins later than this attack
    return (
        tone.over_db > LEAST_OVER_DB
        and tone.share > LEAST_SHARE
        and tone.level_db > usual_db - LEVEL_RANGE_DB
        and tone.t60_s > least_t60_s
        and not growing
    )


def _one_each(candidates: list[PluckStart]) -> list[PluckStart]:
    """Of several attacks near one beginning tone only the sharpest keeps it."""
    kept = []
    for c in candidates:
        near = [o for o in candidates if o is not c and abs(o.time_s - c.time_s) < SHORTEST_GAP_S and o.tone and c.tone]
        if any(_outdoes(o, c) for o in near):
            kept.append(PluckStart(c.attack, None, c.tones, NO_CLICK))
        else:
            kept.append(c)
    return kept


def _outdoes(other: PluckStart, candidate: PluckStart) -> bool:
    """Whether the tone heard at a candidate is really that of the other: the same one, or one that drowns it."""
    if other.tone is None or candidate.tone is None:
        return False
    same = abs(np.log2(other.tone.frequency_hz / candidate.tone.frequency_hz)) < 0.03
    if same:
        return (_worth(other), -other.time_s) > (_worth(candidate), -candidate.time_s)
    return other.time_s > candidate.time_s and other.tone.level_db > candidate.tone.level_db + 6.0


def _worth(candidate: PluckStart) -> float:
    """Of attacks that share a tone: the sharpest, unless it is a mere tick."""
    return candidate.attack.rise_db - (12.0 if candidate.attack.tick else 0.0)


def _pace(candidates: Sequence[PluckStart], plucks: int) -> tuple[bool, PluckingPace]:
    """(whether each tooth is plucked several times in a row, the hand's pace), from the ringing teeth alone."""
    live = [c for c in candidates if c.tone and c.score >= LIVE_SCORE - 2.0]
    times = np.array([c.time_s for c in live])
    pitches = np.array([c.pitch for c in live], dtype=float)
    gaps = np.diff(times)
    same = np.abs(np.diff(pitches)) < SAME_PITCH_SEMITONES
    usual = float(np.median(gaps)) if len(gaps) else 1.0
    if plucks == 1 or not len(gaps) or same.mean() < 0.2:
        near = gaps[(gaps > 0.5 * usual) & (gaps < 1.6 * usual)] if len(gaps) else np.array([1.0])
        return plucks == 1, PluckingPace(usual, usual, _spread(near))
    within = float(np.median(gaps[same]))
    other = gaps[~same]
    between = float(np.median(other[other < 2.2 * np.percentile(other, 25)])) if len(other) else within
    spread = _spread(gaps[same])
    return True, PluckingPace(within, between, spread)


def _spread(gaps: FloatArray) -> float:
    logs = np.log(np.maximum(gaps, 1e-3))
    return float(np.clip(1.5 * np.median(np.abs(logs - np.median(logs))), 0.10, 0.5)) if len(gaps) else 0.3


def _gap_score(gap_s: FloatArray, usual_s: float, spread: float) -> FloatArray:
    """Log-likelihood of a gap, heavy-tailed: a hand may pause. Zero at the usual gap."""
    z = np.log(np.maximum(gap_s, 1e-3) / usual_s) / spread
    return -2.5 * np.log1p(z**2 / 5.0)


def best_path(
    candidates: Sequence[PluckStart], teeth: int | None, plucks: int, pace: PluckingPace
) -> list[tuple[int, int, int]]:
    """(candidate, tooth, pluck) along the best path; teeth and plucks count from 1. teeth: None if not known."""
    count = len(candidates)
    most = teeth or sum(1 for c in candidates if c.tone) // plucks * 2 + 4
    times = np.array([c.time_s for c in candidates])
    base = np.array([c.score for c in candidates])
    weight = np.array([min(1.0, c.score / LIVE_SCORE) if c.tone else 0.0 for c in candidates])
    passed = np.r_[0.0, np.cumsum(weight)]
    links = _links(candidates, plucks, pace)
    states = most * plucks
    best = np.full((count, states), -np.inf)
    back = np.full((count, states, 2), -1, dtype=int)
    for i in range(count):
        before = PASSED_OVER * passed[i]
        for k in range(min(most, MOST_UNHEARD + 1)):
            best[i, k * plucks] = base[i] + before + k * UNHEARD
        near = np.flatnonzero((times[i] - times[:i] > SHORTEST_GAP_S) & (times[i] - times[:i] < LONGEST_GAP_S))
        if not len(near):
            continue
        over = PASSED_OVER * np.maximum(0, passed[i] - passed[near + 1])
        for first, step, gain in links(i, near):
            _advance(best, back, i, near, first, step, base[i] + over + gain, plucks)
    tail = PASSED_OVER * (passed[-1] - passed[1:])
    final = best + tail[:, None]
    for state in range(states):
        missing = (most - 1 - state // plucks if teeth else 0) + (plucks - 1 - state % plucks > 0)
        final[:, state] += missing * UNHEARD
    i, state = (int(v) for v in np.unravel_index(int(np.argmax(final)), final.shape))
    path = []
    while i >= 0:
        path.append((int(i), int(state) // plucks + 1, int(state) % plucks + 1))
        i, state = (int(v) for v in back[i, state])
    return path[::-1]


def _advance(
    best: FloatArray, back: npt.NDArray[np.int_], i: int, near: npt.NDArray[np.int_], first: int, step: int,
    gain: FloatArray, plucks: int,
) -> None:  # fmt: skip
    """From every state whose pluck is `first` go `step` states on, where that is better."""
    states = best.shape[1]
    sources = np.arange(first, states - step, plucks)
    if not len(sources):
        return
    values = best[np.ix_(near, sources)] + gain[:, None]
    top = np.argmax(values, axis=0)
    value = values[top, np.arange(len(sources))]
    targets = sources + step
    better = value > best[i, targets]
    best[i, targets[better]] = value[better]
    back[i, targets[better], 0] = near[top[better]]
    back[i, targets[better], 1] = sources[better]


def _links(candidates: Sequence[PluckStart], plucks: int, pace: PluckingPace):  # type: ignore[no-untyped-def]
    """links(i, near): (pluck before, states onward, gain by candidate before) for every way to reach candidate i."""
    times = np.array([c.time_s for c in candidates])
    pitches = np.array([c.pitch if c.pitch is not None else np.nan for c in candidates])
    levels = np.array([c.attack.levels_db for c in candidates])

    def pair(i: int, near: npt.NDArray[np.int_]) -> FloatArray:
        difference = np.abs(pitches[near] - pitches[i])
        alike = -np.mean(((levels[near] - levels[i]) / 12.0) ** 2, axis=1).clip(-4.0, 0.0)
        both = np.where(difference < SAME_PITCH_SEMITONES, SAME_PITCH, OTHER_PITCH)
        neither = np.isnan(pitches[near]) & np.isnan(pitches[i])
        return np.where(neither, alike, np.where(np.isnan(difference), HALF_DEAD, both))

    def links(i: int, near: npt.NDArray[np.int_]):  # type: ignore[no-untyped-def]
        gap = times[i] - times[near]
        for j in range(plucks - 1):
            yield j, 1, _gap_score(gap, pace.within_s, pace.spread) + pair(i, near)
        round_s = pace.between_s + (plucks - 1) * pace.within_s
        for j in range(plucks):
            lost = plucks - 1 - j  # plucks of the tooth before that were not heard
            for unheard in range(MOST_UNHEARD + 1):
                usual = pace.between_s + lost * pace.within_s + unheard * round_s
                spread = pace.spread * (1.0 + 0.3 * (unheard + lost))
                rings = np.isfinite(pitches[near])  # a tooth that rings once is heard the next time too
                gain = _gap_score(gap, usual, spread) + UNHEARD * (unheard + lost * (1 + rings))
                yield j, plucks - j + unheard * plucks, gain

    return links
