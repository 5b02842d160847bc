"""A comb plucked tooth by tooth: number, pitch, ring time and condition of each tooth.

    recording -> plucks (plucks/) -> fundamental of each (tooth_sound.py)
        -> how clean it sounds (tooth_cleanness.py) -> whether it buzzes (tooth_buzz.py)

Two plucks must agree in pitch within AGREE_CENTS or the tooth says so. What cannot be heard is None.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from disc.listen.comb.numbering import numbering
from disc.listen.comb.plucks.find_plucks import Pluck, plucks_and_rest
from disc.listen.comb.plucks.pluck_start import LIVE_SCORE, PluckStart
from disc.listen.comb.plucks.rings_after_all import common_tones, usual_ring_s
from disc.listen.comb.temperament import Temperament, temperament_of
from disc.listen.comb.tooth_buzz import LIKELY, SIGNS, buzz_probability, buzz_signs
from disc.listen.comb.tooth_cleanness import cleanness, room_of
from disc.listen.comb.tooth_sound import Sounding, sounding
from disc.listen.sound.attacks import Attack
from disc.listen.sound.audio import FloatArray, Recording, read_recording
from disc.listen.sound.bands import Whole, hz_of_pitch, transform
from disc.listen.sound.disturbed import Disturbance, faint_stretches, loud_stretches, together
from disc.records import ToothCondition
from disc.words import Advance, no_progress

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Two plucks of a sound tooth differ by some hundredths of a cent on clean recordings, by under a cent in noise.
AGREE_CENTS = 3.0
# Plucks that differ by more than this were not both of this tooth's fundamental: which of them was is not guessed.
APART_CENTS = 40.0
# A neighbour set off too: at least this loud against the tooth, new at both plucks, and at the neighbour's own pitch.
# Chosen by hand on the development recordings, where such neighbours begin at about -15 dB.
DOUBLED_DB = -22.0
NEIGHBOUR_SEMITONES = (0.7, 7.0)  # from the tooth: nearer is itself, farther no neighbour; chosen by hand
NEIGHBOUR_CENTS = 25.0  # of the neighbour's own pitch; chosen by hand
LEAST_GROWTH_DB = 6.0  # by which a neighbour not yet plucked must be new; chosen by hand
# the same of one plucked before, which may still ring, and its share; chosen by hand
AGAIN_GROWTH_DB, AGAIN_SHARE = 12.0, 0.85
LEAST_OVER_DB, RINGS_SHARE = 15.0, 0.2  # it rings like a tooth: clear of what lies beside it, not a short knock
HUM_SHARE = 3.0  # of the longer ring of the two teeth
# Of 54 combs of the benchmark at most an eighth of the teeth had plucks that differ; of turns taken for combs seven
# eighths, or nearly all pitches came back.
SAME_SEMITONES, FAR_TEETH, MOST_BACK, MOST_APART = 0.3, 4, 0.5, 0.4
DULL = "only a dull click"
RINGS = "it rings, at which pitch is not clear: pluck it again"
UNHEARD = "nothing is heard where the hand's pace puts its plucks: dead, or left out; pluck it again"
# A dead tooth's click seems to have a pitch, another one at each pluck, and dies away so much sooner than its like
# (natural logarithm). In the tuning half seven of the dead are told by it, and one that buzzes is taken for dead.
CHOKED, CHOKED_CENTS = 0.8, 5.0
LEAST_TO_COMPARE = 5  # ringing teeth, below which nothing says what is usual
LEAST_INSTRUMENT = 3  # teeth with a second tone at one interval, from which it is no neighbour


@dataclass(frozen=True)
class PluckedTooth:
    """One tooth in the order of plucking. pitch, t60_s: None where nothing rings. spread_cents: between its plucks.

    agrees: whether all plucks gave one pitch; None where only one was heard. words: what a person should know.
    buzz: probability that it buzzes. number_probability: that this is its number in the order of plucking; one_of:
    the teeth it is one of, itself among them, where that is in doubt.
    """

    tooth: int
    pitch: float | None
    t60_s: float | None
    condition: ToothCondition | None
    plucks_s: tuple[float, ...]
    spread_cents: float | None = None
    agrees: bool | None = None
    buzz: float | None = None
    words: str = ""
    number_probability: float | None = None
    one_of: tuple[int, ...] = ()


@dataclass(frozen=True)
class PluckedComb:
    """What a recording of a comb plucked in turn says. temperament: None with fewer than three ringing teeth. plucks:
    how often each tooth was to be plucked. disturbed: where something else is heard. left_over_s: where a tooth's tone
    begins that none of the teeth took."""

    teeth: tuple[PluckedTooth, ...]
    temperament: Temperament | None
    remarks: tuple[str, ...] = ()
    plucks: int = 2
    disturbed: tuple[Disturbance, ...] = ()
    left_over_s: tuple[float, ...] = ()


def read_plucked(path: Path, teeth: int | None = None, plucks: int = 2, advance: Advance = no_progress) -> PluckedComb:
    """The comb heard in the recording at path. teeth: how many were plucked, if known; plucks: how often each.

    Raises BadInput in one line if the recording cannot be used. Teeth are numbered in the order of plucking.
    """
    return comb_from_recording(read_recording(path), teeth, plucks, advance)


def comb_from_recording(
    recording: Recording, teeth: int | None = None, plucks: int = 2, advance: Advance = no_progress
) -> PluckedComb:
    """As read_plucked, from a recording in memory."""
    advance(0.05, "looking for plucks")
    found, rest = plucks_and_rest(recording, teeth, plucks)
    remarks = list(recording.remarks)
    if not found:
        return PluckedComb((), None, (*remarks, "no ringing tooth is heard in this recording"), plucks)
    advance(0.5, "measuring each tooth")
    count = teeth or max(p.tooth for p in found)
    heard, rows = hear_teeth(recording, found, count, plucks)
    advance(0.8, "judging conditions")
    rows = _judge_buzz(recording, rows, found, heard)
    rows = _judge_doubled(rows, found, heard)
    rows = _with_numbering(_judge_unheard(rows), found)
    if len(heard) < count * plucks:
        remarks.append(f"{count * plucks - len(heard)} of {count * plucks} plucks were not heard")
    temperament = temperament_of([r.pitch for r in rows])
    left_over = tuple(c.time_s for c in rest if c.tone is not None and c.score >= LIVE_SCORE)
    disturbed = _disturbed(recording, rows, found, [c.attack for c in rest])
    return PluckedComb(tuple(rows), temperament, tuple(remarks), plucks, disturbed, left_over)


def _disturbed(
    recording: Recording, rows: Sequence[PluckedTooth], found: Sequence[Pluck], rest: Sequence[Attack]
) -> tuple[Disturbance, ...]:
    """Where something else than plucks is heard."""
    faint = faint_stretches(rest, np.array([p.candidate.time_s for p in found]))
    lowest = min((row.pitch for row in rows if row.pitch is not None), default=None)
    return together(faint, [] if lowest is None else loud_stretches(recording, hz_of_pitch(lowest)))


def _with_numbering(rows: list[PluckedTooth], found: Sequence[Pluck]) -> list[PluckedTooth]:
    told = numbering(found, len(rows))
    return [replace(row, number_probability=told[row.tooth][0], one_of=told[row.tooth][1]) for row in rows]


def _judge_unheard(rows: list[PluckedTooth]) -> list[PluckedTooth]:
    """A tooth of which nothing is heard though the hand's pace left time for its plucks between two that are: a live
    one would have rung."""
    heard = [row.tooth for row in rows if row.plucks_s]
    return [
        replace(row, condition=ToothCondition.DEAD, words=UNHEARD)
        if not row.plucks_s and heard and heard[0] < row.tooth < heard[-1] else row
        for row in rows
    ]  # fmt: skip


def hear_teeth(
    recording: Recording, found: Sequence[Pluck], count: int, plucks: int
) -> tuple[list[Sounding | None], list[PluckedTooth]]:
    """(what each pluck says of its tooth, the teeth 1 to count from it); conditions are not yet judged."""
    whole = transform(recording)
    starts = np.array([p.candidate.time_s for p in found])
    heard = [_hear(whole, p, starts, recording.length_s) for p in found]
    return heard, [_tooth(number, found, heard, plucks) for number in range(1, count + 1)]


def is_plucked_in_turn(comb: PluckedComb) -> bool:
    """Whether what was heard can be a comb plucked tooth by tooth: of a tune most pitches come back far apart, and two
    sounds in a row are seldom of one pitch."""
    pitched = [(tooth.tooth, tooth.pitch) for tooth in comb.teeth if tooth.pitch is not None]
    back = sum(
        any(abs(pitch - other) < SAME_SEMITONES and abs(tooth - far) > FAR_TEETH for far, other in pitched)
        for tooth, pitch in pitched
    )
    twice = [t.spread_cents for t in comb.teeth if t.spread_cents is not None]
    apart = sum(spread > APART_CENTS for spread in twice)
    return back <= MOST_BACK * len(pitched) and apart <= MOST_APART * len(twice)


def _hear(whole: Whole, pluck: Pluck, starts: FloatArray, length_s: float) -> Sounding | None:
    tone = pluck.candidate.tone
    if tone is None:
        return None
    time_s = pluck.candidate.time_s
    return sounding(whole, time_s, _next(starts, time_s, length_s), tone.frequency_hz)


def _tooth(number: int, found: Sequence[Pluck], heard: Sequence[Sounding | None], plucks: int) -> PluckedTooth:
    mine = [(p, s) for p, s in zip(found, heard, strict=True) if p.tooth == number]
    times = tuple(round(p.candidate.time_s, 4) for p, _ in mine)
    if not mine:
        return PluckedTooth(number, None, None, None, (), words="not heard at all: pluck it again")
    ringing = [s for _, s in mine if s is not None]
    if not ringing:
        if common_tones([p.candidate for p, _ in mine], usual_ring_s([p.candidate for p in found])):
            return PluckedTooth(number, None, None, None, times, words=RINGS)
        return PluckedTooth(number, None, None, ToothCondition.DEAD, times, words=DULL)
    pitches = np.array([s.pitch for s in ringing])
    weights = np.array([s.amplitude * min(s.t60_s, 3.0) for s in ringing])
    pitch = float(np.average(pitches, weights=weights))
    rings = [s.t60_s for s in ringing if s.decay_range_db > 3.0] or [s.t60_s for s in ringing]
    spread = float(np.ptp(pitches) * 100.0) if len(ringing) > 1 else None
    if spread is not None and spread > APART_CENTS:
        words = f"its plucks differ by {spread:.0f} cents: pluck it again"
        return PluckedTooth(number, None, None, None, times, spread, False, words=words)
    agrees = None if spread is None else len(ringing) == len(mine) and spread <= AGREE_CENTS
    row = PluckedTooth(
        number, pitch, float(np.exp(np.mean(np.log(rings)))), ToothCondition.SOUND, times, spread, agrees
    )
    return replace(row, words=_doubts(row, len(ringing), len(mine), plucks))


def _doubts(row: PluckedTooth, ringing: int, heard: int, plucks: int) -> str:
    if ringing < heard:
        return f"rings at {ringing} of {heard} plucks only: pluck it again"
    if heard < plucks:
        return f"heard {heard} of {plucks} times: pluck it again"
    if row.spread_cents is not None and row.spread_cents > AGREE_CENTS:
        return f"its plucks differ by {row.spread_cents:.1f} cents: pluck it again"
    return ""


def _judge_buzz(
    recording: Recording, rows: list[PluckedTooth], found: Sequence[Pluck], heard: Sequence[Sounding | None]
) -> list[PluckedTooth]:
    numbers, signs = signs_of_buzzing(recording, rows, found, heard)
    if len(numbers) < LEAST_TO_COMPARE:
        return rows
    likely = dict(zip(numbers, map(float, buzz_probability(signs)), strict=True))
    sooner = dict(zip(numbers, map(float, signs[:, SIGNS.index("quick")]), strict=True))
    usual_s = usual_ring_s([p.candidate for p in found])
    judged = []
    for row in rows:
        if row.tooth in likely:
            row = replace(row, buzz=likely[row.tooth])
            if likely[row.tooth] > LIKELY:
                mine = [(p.candidate, s is not None) for p, s in zip(found, heard, strict=True) if p.tooth == row.tooth]
                choked = _is_choked(row, sooner[row.tooth], [rings for _, rings in mine])
                row = _dull(row) if choked and not common_tones([c for c, _ in mine], usual_s) else _buzzing(row)
        judged.append(row)
    return judged


def signs_of_buzzing(
    recording: Recording, rows: Sequence[PluckedTooth], found: Sequence[Pluck], heard: Sequence[Sounding | None]
) -> tuple[list[int], FloatArray]:
    """(numbers of the teeth that ring, signs of each as in tooth_buzz.SIGNS, shape (teeth, 16))."""
    live = [(row, hz_of_pitch(row.pitch)) for row in rows if row.pitch is not None]
    if len(live) < LEAST_TO_COMPARE:
        return [], np.zeros((0, 0))
    room = room_of(recording)
    starts = np.array([p.candidate.time_s for p in found])
    measured = []
    for row, hz in live:
        mine = [p.candidate.time_s for p, s in zip(found, heard, strict=True) if p.tooth == row.tooth and s is not None]
        measured.append([cleanness(recording, room, t, _next(starts, t, recording.length_s), hz) for t in mine])
    pitches, rings = (np.array([getattr(row, name) for row, _ in live], dtype=float) for name in ("pitch", "t60_s"))
    return [row.tooth for row, _ in live], buzz_signs(measured, pitches, rings)


def _next(starts: FloatArray, time_s: float, length_s: float) -> float:
    """When the next pluck begins, or the recording ends."""
    return float(min(starts[starts > time_s], default=length_s))


def _is_choked(row: PluckedTooth, sooner: float, rings: Sequence[bool]) -> bool:
    """Whether the noisy ring is only a dead tooth's click: one beside a dull click, or two choked ones that differ.
    sooner: natural logarithm of how much sooner it dies away than its like."""
    alone = sum(rings) == 1 and len(rings) > 1
    differs = row.spread_cents is not None and row.spread_cents > CHOKED_CENTS
    return alone or (differs and sooner > CHOKED)


def _dull(row: PluckedTooth) -> PluckedTooth:
    return PluckedTooth(row.tooth, None, None, ToothCondition.DEAD, row.plucks_s, words=DULL)


def _buzzing(row: PluckedTooth) -> PluckedTooth:
    """The tooth said to buzz, if it was heard to at two plucks: one alone says nothing."""
    if row.words.startswith("heard 1"):
        return replace(row, condition=None)
    words = "buzzes: does its damper touch, or is it cracked?"
    return replace(row, condition=ToothCondition.BUZZING, words="; ".join(w for w in (row.words, words) if w))


def _judge_doubled(
    rows: list[PluckedTooth], found: Sequence[Pluck], heard: Sequence[Sounding | None]
) -> list[PluckedTooth]:
    set_off: dict[int, tuple[int, float]] = {}
    for row in rows:
        mine = [(p.candidate, s) for p, s in zip(found, heard, strict=True) if p.tooth == row.tooth and s is not None]
        other = _neighbour_set_off(row, rows, mine)
        if other is not None:
            set_off[row.tooth] = other
    judged = []
    for row in rows:
        if row.tooth in set_off:
            other_tooth, interval = set_off[row.tooth]
            # What many teeth have alike is the instrument's own sound, not a neighbour's.
            alike = sum(abs(interval - i) < 0.5 for _, i in set_off.values())
            if alike < LEAST_INSTRUMENT:
                words = "; ".join(w for w in (row.words, f"tooth {other_tooth} sounds with it") if w)
                row = replace(row, condition=ToothCondition.DOUBLED, words=words)
        judged.append(row)
    return judged


def _neighbour_set_off(
    row: PluckedTooth, rows: Sequence[PluckedTooth], mine: Sequence[tuple[PluckStart, Sounding]]
) -> tuple[int, float] | None:
    """(number, semitones away) of the neighbour that sounds with every pluck of a tooth."""
    if row.pitch is None or row.condition is not ToothCondition.SOUND or len(mine) < 2:
        return None
    for other in rows:
        if abs(other.tooth - row.tooth) != 1 or other.pitch is None:
            continue
        apart = abs(other.pitch - row.pitch)
        if NEIGHBOUR_SEMITONES[0] <= apart <= NEIGHBOUR_SEMITONES[1] and all(
            _sets_off(candidate, s, other, n == 0, other.tooth > row.tooth) for n, (candidate, s) in enumerate(mine)
        ):
            return other.tooth, other.pitch - row.pitch
    return None


def _sets_off(candidate: PluckStart, own: Sounding, other: PluckedTooth, first: bool, yet_unplucked: bool) -> bool:
    """Whether the neighbour's pitch begins with this pluck; at the first one it must grow louder than it rang."""
    if other.pitch is None:
        return False
    neighbour = other.pitch
    reach = NEIGHBOUR_CENTS / 100.0
    # A neighbour plucked just before rings on, and swells where it is stirred: it must clearly begin anew.
    growth_db, share = (LEAST_GROWTH_DB, 0.5) if yet_unplucked else (AGAIN_GROWTH_DB, AGAIN_SHARE)
    fresh = [
        t for t in candidate.tones
        if abs(12 * np.log2(t.frequency_hz / hz_of_pitch(neighbour))) < reach and t.share > share
        and (t.growth_db > growth_db or not first)
        and t.over_db > LEAST_OVER_DB and t.t60_s > RINGS_SHARE * own.t60_s
    ]  # fmt: skip
    if candidate.tone is not None and any(t.level_db > candidate.tone.level_db + DOUBLED_DB for t in fresh):
        return True
    # Too near for the short spectrum to part them: the fitted tones do, where nothing rang there before.
    apart_hz = abs(hz_of_pitch(neighbour) - hz_of_pitch(own.pitch))
    if apart_hz > 35.0 or not yet_unplucked:
        return False
    # What dies away much sooner than either tooth is the pluck's own noise; what hardly does is hum.
    least = max(0.3 * own.t60_s, 0.5 * (other.t60_s or 0.0))
    most = HUM_SHARE * max(own.t60_s, other.t60_s or 0.0)
    beside = [level for pitch, level, t60 in own.others if abs(pitch - neighbour) < reach and least < t60 < most]
    return any(level > DOUBLED_DB for level in beside) and candidate.tone is not None and candidate.tone.share > 0.9
