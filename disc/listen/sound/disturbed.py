"""Where something else than the comb is heard: speech, a chair, a knock, each with its seconds.

Two signs. Loud: the band under the lowest tooth rises far over its usual level. Faint: tones and attacks that belong to
no pluck and no tick follow each other; a tooth makes one beginning and then rings, a voice makes one after the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.listen.sound.attacks import Attack
from disc.listen.sound.audio import FloatArray, Recording

# s of one level, levels smoothed over: syllables last longer, plucks' rises shorter (chosen)
STEP_S, SMOOTH_STEPS = 0.01, 5
# A voice's fundamental lies at 80 to 250 Hz (common knowledge of phonetics, from memory); the band ends well under the
# lowest tooth.
LOWEST_HZ, HIGHEST_HZ, UNDER_TOOTH = 80.0, 200.0, 0.6
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Over the usual level, and over what the loudest fifth of the recording reaches (a case that thumps at each strike).
OVER_USUAL_DB, OVER_LOUD_DB = 12.0, 8.0
JOIN_S = 0.4  # a pause between two words
SPEECH_S = 0.3  # shorter is a knock
# A vowel lasts so long without a break; a case that thumps at one strike after another in a very quiet recording does
# not: of 42 such stretches of two modelled turns the longest thump took 0.18 s, the vowels of the one sentence 1.4.
VOWEL_S = 0.2
# Beginnings of nobody's so near each other are one disturbance; fewer than so many say nothing (drawn combs).
NEAR_S, FEWEST_FAINT = 1.5, 2
OWN_S = 0.12  # so near a pluck it is the pluck's own noise
LEAST_RISE_DB, KNOCK_DB = 8.0, 20.0  # of a beginning that counts, and of one that is a disturbance alone
TAIL_S = 0.15  # a beginning is heard at least so long


@dataclass(frozen=True)
class Disturbance:
    """Seconds of a recording in which something else is heard. is_knock: short; else speech or handling."""

    start_s: float
    end_s: float
    is_knock: bool

    def covers(self, time_s: float, before_s: float = 0.0) -> bool:
        """Whether a moment, or what lies up to before_s ahead of the stretch, is within it."""
        return self.start_s - before_s <= time_s <= self.end_s

    @property
    def words(self) -> str:
        """What is heard, and when."""
        if self.is_knock:
            return f"a knock at {self.start_s:.1f} s"
        return f"speech or another sound from {self.start_s:.1f} to {self.end_s:.1f} s"


def loud_stretches(recording: Recording, lowest_hz: float) -> list[Disturbance]:
    """Where the band under the lowest tooth is far louder than usual for as long as a word lasts, in order; a case may
    thump at a strike. lowest_hz: of the comb."""
    top = min(HIGHEST_HZ, UNDER_TOOTH * lowest_hz)
    if top < 1.3 * LOWEST_HZ:
        return []
    level = _level_db(recording, LOWEST_HZ, top)
    if len(level) < 2 * SMOOTH_STEPS:
        return []
    usual, loud = np.percentile(level, (50.0, 80.0))
    over = np.flatnonzero(level > max(usual + OVER_USUAL_DB, loud + OVER_LOUD_DB))
    runs = [run for run in np.split(over, np.flatnonzero(np.diff(over) > 1) + 1) if len(run)]
    vowels = [run[0] * STEP_S for run in runs if len(run) * STEP_S >= VOWEL_S]
    stretches = _joined([(float(run[0]) * STEP_S, float(run[-1] + 1) * STEP_S) for run in runs])
    return [s for s in stretches if not s.is_knock and any(s.covers(at) for at in vowels)]


def faint_stretches(left: Sequence[Attack], plucks_s: FloatArray) -> list[Disturbance]:
    """Where beginnings that are no pluck and no tick follow each other, in order. left: attacks that no pluck took;
    plucks_s: when the plucks were, shape (n,)."""
    alone = [a for a in left if _is_foreign(a) and (not len(plucks_s) or np.abs(plucks_s - a.time_s).min() > OWN_S)]
    rows: list[list[Attack]] = []
    for a in alone:
        if rows and a.time_s - rows[-1][-1].time_s < NEAR_S:
            rows[-1].append(a)
        else:
            rows.append([a])
    return [
        Disturbance(row[0].time_s, row[-1].time_s + TAIL_S, len(row) == 1) for row in rows
        if len(row) >= FEWEST_FAINT or row[0].rise_db > KNOCK_DB
    ]  # fmt: skip


def together(*many: Sequence[Disturbance]) -> tuple[Disturbance, ...]:
    """All of them in order, those that overlap as one."""
    kept: list[Disturbance] = []
    for s in sorted((s for some in many for s in some), key=lambda s: s.start_s):
        if kept and s.start_s <= kept[-1].end_s:
            last = kept[-1]
            kept[-1] = Disturbance(last.start_s, max(last.end_s, s.end_s), last.is_knock and s.is_knock)
        else:
            kept.append(s)
    return tuple(kept)


def _is_foreign(attack: Attack) -> bool:
    """No tick, whose sound is all in the highest band: a voice, a chair, a knock."""
    low, middle, high = attack.levels_db
    return not attack.tick and attack.rise_db > LEAST_RISE_DB and max(low, middle) >= high


def _level_db(recording: Recording, low_hz: float, high_hz: float) -> FloatArray:
    from scipy.ndimage import uniform_filter1d  # loaded only where a recording is heard
    from scipy.signal import butter, sosfilt

    sos = butter(8, [low_hz, high_hz], "bandpass", fs=recording.rate, output="sos")
    power = sosfilt(sos, recording.samples) ** 2
    edges = np.round(np.arange(0.0, recording.length_s, STEP_S) * recording.rate).astype(int)
    mean = np.add.reduceat(power, edges[edges < len(power)]) / (STEP_S * recording.rate)
    return np.asarray(10.0 * np.log10(uniform_filter1d(mean, SMOOTH_STEPS) + 1e-14))


def _joined(pieces: Sequence[tuple[float, float]]) -> list[Disturbance]:
    spans: list[list[float]] = []
    for start, end in pieces:
        if spans and start - spans[-1][1] < JOIN_S:
            spans[-1][1] = end
        else:
            spans.append([start, end])
    return [Disturbance(start, end, end - start < SPEECH_S) for start, end in spans]
