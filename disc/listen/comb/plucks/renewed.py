"""A tooth plucked again while it rings may set off no rise of the level: its own tone, already known, begins anew."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.signal import find_peaks

from disc.listen.comb.plucks.pluck_start import SHORTEST_GAP_S, PluckStart
from disc.listen.sound.attacks import Attack
from disc.listen.sound.audio import Recording
from disc.listen.sound.bands import transform
from disc.listen.sound.beginnings import NewTone
from disc.listen.turn.place.tones import tones_of

# A tone begins again where its strength has this share of its most, is so steady (0 to 1), and so far from any
# attack. Chosen by hand on plucked development recordings, not fitted.
RENEWED_SHARE, RENEWED_STEADY, RENEWED_APART_S = 0.35, 0.8, 0.05
# A tone is taken for a tooth's if it grew by so much and stands so far over its noise; chosen likewise.
FRESH_GROWTH_DB, FRESH_OVER_DB = 10.0, 25.0
# Measured on five recordings: true ones lose 1 dB at most, those of beating strings 6 dB or more.
FRESH_LOSS_DB = -3.0
LEAST_OVER_DB = 15.0  # of what begins again; chosen likewise
RENEWED_RISE_DB = 10.0  # counts as an attack of middling sharpness; chosen likewise


def renewed(recording: Recording, candidates: Sequence[PluckStart]) -> list[Attack]:
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


def is_fresh(tones: Sequence[NewTone]) -> bool:
    """Whether a beginning that no rise of the level shows is one: its loudest tone has not just become much weaker, as
    where two strings or a tremble beat."""
    return bool(tones) and tones[0].growth_db > FRESH_LOSS_DB and tones[0].over_db > LEAST_OVER_DB
