"""By how much each tooth's own tone steps up at each strike, its twins and neighbours solved for together.

In the narrow band about a tooth stand its own ringing, that of its twins some cents away, and what strikes within a few
tenths of a second add. Each is a damped tone of known frequency that either rings through or begins at a known moment;
how much of each there is follows by least squares. So a twin that rings on, however loud, explains what it explains
and no more; what a strike of this tooth would add, and how surely that is known, is what is left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.fft import next_fast_len

from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import FALL_60_DB, ComplexArray, Whole, band
from disc.listen.turn.learn.tooth_voices import FARTHEST_CENTS, strand
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.tones import Tones

# fitted about a strike: enough of the tone before to foretell it, and of the new one; chosen by hand
BEFORE_S, AFTER_S = 0.14, 0.22
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Half of the band about a tooth: what lies within is solved for; no narrower, or strikes blur.
BAND_SHARE, NARROWEST_HZ, WIDEST_HZ = 0.04, 28.0, 80.0
NEAR_BANDS = 1.2  # teeth so many half bands away are solved for too
# A strike is sought so far about its place, in such steps; a place so far off costs as much as one spread. A pin read
# from a photograph is off by 12 ms usually, some by 30.
OFFSETS_S = np.linspace(-0.035, 0.035, 15)
PLACE_S = 0.012  # sigma of where a step stands about its strike; chosen by hand
SAME_S = 0.04  # no tooth is struck twice within it: what is sought there is that strike itself; chosen by hand
FINER = 8  # a tone is made once, so finely, and read between; within a thousandth of one made for each place
PERIOD_S = 4.0  # the made-up columns come round after so long; by then they have died away
USUAL_FALL_S = FALL_60_DB / 1.5  # where nothing is measured: 60 dB in 1.5 s
# bounds of a tooth's fall: 60 dB in 6 s, in 0.15 s; chosen by hand
SLOWEST_S, FASTEST_S = FALL_60_DB / 6.0, FALL_60_DB / 0.15
RIDGE = 1e-3  # of the band's own power: twins that cannot be told apart share what there is
FEWEST, NEIGHBOURS = 3, 6  # measured before they make a usual one, and teeth beside asked; chosen by hand


Around = tuple[ComplexArray, float, ComplexArray, ComplexArray, float]


@dataclass(frozen=True)
class ToothVoice:
    """A tooth's own tone: hz, and its fall in nepers a second. known: from its own strikes."""

    hz: float
    fall: float
    known: bool


@dataclass(frozen=True)
class ToneStep:
    """What a strike adds to its tooth's tone. level: its amplitude. sigma: of that. gain: share of what was left
    unexplained in the band that it explains, 0 to 1. off_s: from the place to where it fits best. before: amplitude in
    the band before."""

    level: float
    sigma: float
    gain: float
    off_s: float
    before: float


def voices_of(whole: Whole, tones: Tones, struck: Sequence[tuple[float, int]]) -> dict[int, ToothVoice]:
    """Every tooth's voice, from its own strikes where they tell it. struck: (time in s, tooth)."""
    found: dict[int, ToothVoice] = {}
    for k, teeth in enumerate(tones.teeth):
        line = strand(whole, tones.hz, float(tones.hz[k]))
        mine = sorted((t, tooth) for t, tooth in struck if tooth in teeth)
        ends = [*(t for t, _ in mine[1:]), np.inf][: len(mine)]
        traits: dict[int, list[tuple[float, float]]] = {}
        for (t, tooth), end in zip(mine, ends, strict=True):
            trait = line.trait(t, end)
            if trait is not None and abs(trait.cents) < 2.5 * FARTHEST_CENTS:
                traits.setdefault(tooth, []).append((trait.cents, trait.fall_db_s))
        for tooth in teeth:
            rows = np.array(traits.get(tooth, []))
            if len(rows) >= FEWEST:
                cents, fall = np.median(rows, axis=0)
                hz = float(line.hz * 2 ** (cents / 1200))
                found[tooth] = ToothVoice(hz, float(np.clip(fall / 8.686, SLOWEST_S, FASTEST_S)), True)
            else:
                found[tooth] = ToothVoice(_nearest_rung(tones, k, rows), USUAL_FALL_S, False)
    falls = [v.fall for v in found.values() if v.known]
    usual = float(np.median(falls)) if len(falls) >= FEWEST else USUAL_FALL_S
    return {t: v if v.known else ToothVoice(v.hz, usual, False) for t, v in found.items()}


def _nearest_rung(tones: Tones, k: int, rows: FloatArray) -> float:
    if len(rows):
        return float(tones.hz[k] * 2 ** (np.median(rows[:, 0]) / 1200))
    return float(tones.hz[k])


def steps_of(
    whole: Whole,
    voices: Mapping[int, ToothVoice],
    sought: Sequence[tuple[int, float]],
    struck: Sequence[tuple[int, float]],
) -> list[ToneStep | None]:
    """The step of every tooth at every place sought; None outside the recording. sought, struck: (tooth, time in s);
    struck: what else may begin in the same band."""
    length_s = whole.samples / whole.rate
    steps: list[ToneStep | None] = [None] * len(sought)
    for tooth in sorted({t for t, _ in sought}):
        view = ToneBand(whole, voices[tooth])
        near = {t for t, v in voices.items() if abs(v.hz - view.hz) < NEAR_BANDS * view.half_hz}
        around = [(t, at) for t, at in struck if t in near]
        ringing = [voices[t] for t in near]
        for k, (other, place) in enumerate(sought):
            if other == tooth and 0.0 <= place < length_s - 0.05:
                beside = [
                    (voices[t], at) for t, at in around
                    if (t != tooth or abs(at - place) > SAME_S) and place - BEFORE_S < at < place + AFTER_S
                ]  # fmt: skip
                steps[k] = view.step(place, beside, ringing)
    return steps


class ToneBand:
    """The band about one tooth."""

    def __init__(self, whole: Whole, voice: ToothVoice) -> None:
        self.voice, self.hz = voice, voice.hz
        self.half_hz = float(np.clip(BAND_SHARE * voice.hz, NARROWEST_HZ, WIDEST_HZ))
        self.envelope, self.rate = band(whole, voice.hz, 2.0 * self.half_hz)
        self.count = int(next_fast_len(round(PERIOD_S * self.rate)))
        self.omega = 2 * np.pi * np.fft.fftfreq(self.count, 1.0 / self.rate)
        spread = np.abs(self.omega) / (2 * np.pi * 2.0 * self.half_hz)
        inside = np.where(spread < 0.5, 1.0, 0.5 + 0.5 * np.cos(np.pi * (spread - 0.5) / 0.5))
        self.weight = np.where(spread <= 1.0, inside, 0.0)
        self.waves: dict[ToothVoice, ComplexArray] = {}

    def step(
        self, time_s: float, others: Sequence[tuple[ToothVoice, float]], ringing: Sequence[ToothVoice]
    ) -> ToneStep | None:
        """What the voice steps up by about a moment. others: (voice, time in s) of what else may begin there; ringing:
        what may ring through. None where the recording holds too little."""
        around = self.piece(time_s, others, ringing)
        if around is None:
            return None
        piece, start_s, basis, left, power = around
        count, kept = len(piece), basis.shape[1]
        columns_at = self._begun(self.voice, np.asarray(time_s - start_s + OFFSETS_S, dtype=np.float64), count)
        gains, norms, dots = _explained(columns_at, basis, left, power)
        k = int(np.argmax(-0.5 * count * np.log(1.0 - gains) - 0.5 * (OFFSETS_S / PLACE_S) ** 2))
        gain, norm, level = float(gains[k]), float(norms[k]), float(np.abs(dots[k]) / norms[k])
        free = max(2.0, count - kept - 1.5)
        sigma = np.sqrt(power * (1.0 - gain) / free / norm)
        early = piece[: max(2, round(0.6 * BEFORE_S * self.rate))]
        before = float(np.sqrt(np.mean(np.abs(early) ** 2)))
        return ToneStep(level, float(sigma), gain, float(OFFSETS_S[k]), before)

    def piece(
        self, time_s: float, others: Sequence[tuple[ToothVoice, float]], ringing: Sequence[ToothVoice]
    ) -> Around | None:
        """(the envelope about a moment, when it starts, a basis of what rings or begins there beside, what that leaves
        unexplained, its power); None where the recording holds too little."""
        first = max(0, round((time_s - BEFORE_S) * self.rate))
        last = min(len(self.envelope), round((time_s + AFTER_S) * self.rate))
        if last - first < 8:
            return None
        piece, start_s = self.envelope[first:last], first / self.rate
        count = last - first
        columns = [self._ring(v, count) for v in _distinct(ringing)]
        columns += [self._begun(v, np.array([t - start_s]), count)[0] for v, t in others if t > start_s]
        basis = _orthonormal(np.array(columns).T)
        left = piece - basis @ (basis.conj().T @ piece)
        return piece, start_s, basis, left, float(np.sum(np.abs(left) ** 2)) + 1e-24

    def explains(self, voice: ToothVoice, at_s: float, around: Around) -> float:
        """Share of what is left unexplained there that this voice, begun at at_s, explains."""
        piece, start_s, basis, left, power = around
        columns = self._begun(voice, np.array([at_s - start_s]), len(piece))
        return float(_explained(columns, basis, left, power)[0][0])

    def _ring(self, voice: ToothVoice, count: int) -> ComplexArray:
        times = np.arange(count) / self.rate
        return np.asarray(np.exp((2j * np.pi * (voice.hz - self.hz) - voice.fall) * times))

    def _begun(self, voice: ToothVoice, at_s: FloatArray, count: int) -> ComplexArray:
        """Damped tones that begin at_s into the piece, as the band shows them; shape (places, count)."""
        wave = self._wave(voice)
        places = FINER * (np.arange(count)[None, :] - at_s[:, None] * self.rate)
        low = np.floor(places).astype(int)
        part = places - low
        return np.asarray(wave[low % len(wave)] * (1.0 - part) + wave[(low + 1) % len(wave)] * part)

    def _wave(self, voice: ToothVoice) -> ComplexArray:
        """One such tone that begins at 0, FINER times as finely as the band; made once for each voice."""
        if voice not in self.waves:
            pole = voice.fall - 2j * np.pi * (voice.hz - self.hz)
            shape = self.weight / (pole + 1j * self.omega)
            half = (self.count + 1) // 2
            padded = np.zeros(FINER * self.count, dtype=complex)
            padded[:half], padded[half - self.count :] = shape[:half], shape[half:]
            self.waves[voice] = np.asarray(np.fft.ifft(padded) * FINER * self.rate)
        return self.waves[voice]


def _distinct(voices: Sequence[ToothVoice]) -> list[ToothVoice]:
    """Voices nearer than a quarter of a hertz ring alike over a window."""
    kept: list[ToothVoice] = []
    for v in sorted(voices, key=lambda v: v.hz):
        if not kept or v.hz - kept[-1].hz > 0.25:
            kept.append(v)
    return kept


def _explained(
    columns: ComplexArray, basis: ComplexArray, left: ComplexArray, power: float
) -> tuple[FloatArray, FloatArray, ComplexArray]:
    """(share of the power left that each column explains, its own squared length, its product with what is left)."""
    own = columns - (columns @ basis.conj()) @ basis.T
    norms = np.sum(np.abs(own) ** 2, axis=1) + RIDGE * np.sum(np.abs(columns) ** 2, axis=1)
    dots = own.conj() @ left
    return np.clip(np.abs(dots) ** 2 / norms / power, 0.0, 1.0 - 1e-6), norms, dots


def _orthonormal(columns: ComplexArray) -> ComplexArray:
    """An orthonormal basis of what the columns can make, but for directions that are almost nothing."""
    left, values, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, : int(np.sum(values > 0.02 * values[0]))])


def own_levels(steps: Sequence[ToneStep | None], expected: Sequence[Expected]) -> FloatArray:
    """The usual step of each expected strike's own tooth, shape (n,): the median of the larger half of its steps; of a
    tooth with too few that of the teeth nearest in pitch."""
    usual = _usual_by_tooth(steps, expected)
    near = near_levels(steps, expected)
    return np.array([usual.get(e.tooth, level) for e, level in zip(expected, near, strict=True)])


def near_levels(steps: Sequence[ToneStep | None], expected: Sequence[Expected]) -> FloatArray:
    """What the other teeth nearest in pitch usually step up by, for each expected strike; shape (n,)."""
    usual = _usual_by_tooth(steps, expected)
    group = {e.tooth: e.group for e in expected}
    found: dict[int, float] = {}
    for tooth in group:
        near = sorted((t for t in usual if t != tooth), key=lambda t: abs(group[t] - group[tooth]))[:NEIGHBOURS]
        found[tooth] = float(np.median([usual[t] for t in near])) if near else usual.get(tooth, np.nan)
    return np.array([found[e.tooth] for e in expected])


def _usual_by_tooth(steps: Sequence[ToneStep | None], expected: Sequence[Expected]) -> dict[int, float]:
    by_tooth: dict[int, list[float]] = {}
    for step, e in zip(steps, expected, strict=True):
        if step is not None:
            by_tooth.setdefault(e.tooth, []).append(step.level)
    return {t: float(np.median(sorted(v)[len(v) // 2 :])) + 1e-12 for t, v in by_tooth.items() if len(v) >= FEWEST}
