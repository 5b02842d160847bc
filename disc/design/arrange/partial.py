"""A partial repin: which notes of the tune the sound pins of an old disc play already, in which key and at which tempo;
and which of the holes of its lost and bent pins serve again.

The old disc's turn and the tune's quarters differ by a start, a rate and a transposition. All three are found together:
a pair of strikes early and late in the turn is tried against every pair of notes of their pitches; the pair that lets
most strikes fall on notes wins and is refined over all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.comb.strikes import strikes_from_pins
from disc.design.arrange.pitches import PlayingComb
from disc.design.arrange.timing import Timing, written_quarter_s
from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG, FloatArray
from disc.records import Comb, Condition, Pin, Plate, Strike
from disc.tune.score.records import ScoreIn

# Old pins are set to about 20 ms; a strike this far from its note still belongs to it. Common practice, no source.
REACH_S = 0.080
# Unless said otherwise: chosen by hand, not measured.
ENDS_TRIED = 4  # strikes taken from each end of the turn to start from
LEAST_SHARE = 0.5  # of the old pins: with fewer on the tune it is another tune
FEWEST_PINS = 6  # fewer sound pins say nothing about key and tempo


@dataclass(frozen=True, slots=True)
class KeptPart:
    """What stays. pins: the sound ones. reused: pins to be set anew in an old pin's hole, under its number.

    holes: old places that are not used again, to be kept clear of. strikes: of pins and reused. pin_of_note: their
    numbers by place in score.notes. unexplained: sound pins the tune has no note for. start_deg: turn of the score's
    quarter 0; deg_per_quarter: the old disc's tempo.
    """

    pins: tuple[Pin, ...]
    reused: tuple[Pin, ...]
    holes: tuple[Pin, ...]
    strikes: tuple[Strike, ...]
    transposition: int
    start_deg: float
    deg_per_quarter: float
    revolution_s: float
    pin_of_note: dict[int, int]
    unexplained: tuple[int, ...]

    def timing_from(self, remaining: ScoreIn, whole: ScoreIn) -> Timing:
        """The old disc's timing, counted from the first of the remaining notes."""
        first, last = remaining.start_quarter, remaining.last_onset_quarter
        return Timing(
            revolution_s=self.revolution_s,
            quarter_s=self.deg_per_quarter / FULL_TURN_DEG * self.revolution_s,
            start_deg=self.start_deg + float(first) * self.deg_per_quarter,
            span_quarter=float(last - first),
            written_quarter_s=written_quarter_s(whole),
            tempo_given=whole.quarter_s is not None,
        )


@dataclass(frozen=True, slots=True)
class _Fit:
    transposition: int
    start_deg: float
    rate: float
    hits: int


def fit_kept(score: ScoreIn, playing: PlayingComb, plate: Plate, old_pins: Sequence[Pin]) -> KeptPart:
    """How the sound pins of an old disc lie on the tune. Raises BadInput if they do not play it."""
    usable = {tooth.number: tooth for tooth in playing.teeth}
    sound = tuple(pin for pin in old_pins if pin.condition is Condition.SOUND)
    comb = Comb(tuple(tooth.tooth for tooth in playing.teeth))
    strikes = strikes_from_pins(sound, comb, plate)
    if len(strikes) < FEWEST_PINS:
        raise BadInput(f"only {len(strikes)} sound pins of the old disc play a tooth of this comb; design a new disc.")
    turn = np.array([strike.turn_deg for strike in strikes])
    pitch = np.array([usable[strike.tooth].nominal for strike in strikes])
    onset = np.array([float(note.onset_quarter) for note in score.notes])
    written = np.array([note.pitch for note in score.notes])
    reach = REACH_S / plate.revolution_s * FULL_TURN_DEG
    best = _best_fit(turn, pitch, onset, written, reach)
    if best is None or best.hits < LEAST_SHARE * len(strikes):
        hits = 0 if best is None else best.hits
        raise BadInput(
            f"the old disc plays another tune: at best {hits} of its {len(strikes)} sound pins fall on a note of this. "
            "Give the tune it was made for, or design a new disc without --keep."
        )
    best, pairs = _refine(best, turn, pitch, onset, written, reach)
    pin_of_note = {note: strikes[i].pin_id or 0 for i, note in pairs}
    explained = set(pin_of_note.values())
    spent = [pin for pin in old_pins if pin.condition is not Condition.SOUND]
    reused, again = _reuse(spent, score, playing, comb, plate, best, set(pin_of_note))
    reset_strikes = strikes_from_pins(reused, comb, plate)
    return KeptPart(
        pins=sound,
        reused=reused,
        holes=tuple(pin for pin in spent if pin.id not in {r.id for r in reused}),
        strikes=tuple(sorted((*strikes, *reset_strikes), key=lambda s: s.turn_deg)),
        transposition=best.transposition,
        start_deg=best.start_deg,
        deg_per_quarter=best.rate,
        revolution_s=plate.revolution_s,
        pin_of_note=pin_of_note | again,
        unexplained=tuple(pin.id for pin in sound if pin.id not in explained),
    )


def _reuse(
    spent: Sequence[Pin],
    score: ScoreIn,
    playing: PlayingComb,
    comb: Comb,
    plate: Plate,
    fit: _Fit,
    played: set[int],
) -> tuple[tuple[Pin, ...], dict[int, int]]:
    """Lost and bent pins whose hole serves a note that no sound pin plays: (as new pins, their numbers by note)."""
    nominal = {tooth.number: tooth.nominal for tooth in playing.teeth}
    reach = REACH_S / plate.revolution_s * FULL_TURN_DEG
    as_new = [
        replace(pin, condition=Condition.SOUND, lean_x_mm=None, lean_y_mm=None, height_mm=None)
        for pin in spent
        if pin.tooth in nominal
    ]
    by_id = {pin.id: pin for pin in as_new}
    reused, again = [], {}
    for strike in strikes_from_pins(as_new, comb, plate):
        waiting = [
            (abs(fit.start_deg + fit.rate * float(note.onset_quarter) - strike.turn_deg), i)
            for i, note in enumerate(score.notes)
            if i not in played and i not in again and note.pitch + fit.transposition == nominal[strike.tooth]
        ]
        off, note = min(waiting, default=(reach + 1, -1))
        if off <= reach:
            again[note] = strike.pin_id or 0
            reused.append(by_id[strike.pin_id or 0])
    return tuple(reused), again


def _best_fit(turn: FloatArray, pitch: FloatArray, onset: FloatArray, written: FloatArray, reach: float) -> _Fit | None:
    best: _Fit | None = None
    for transposition in _transpositions(pitch, written):
        same = pitch[:, None] == written[None, :] + transposition
        for start, rate in _starts(turn, onset, same):
            off = np.abs(turn[:, None] - (start + rate * onset)[None, :])
            hits = int(((off <= reach) & same).any(axis=1).sum())
            if best is None or hits > best.hits:
                best = _Fit(transposition, start, rate, hits)
    return best


def _transpositions(pitch: FloatArray, written: FloatArray) -> list[int]:
    """Transpositions under which at least half of the strikes have a note of their pitch, the best covered first."""
    span = range(int(pitch.min() - written.max()), int(pitch.max() - written.min()) + 1)
    cover = {t: float(np.isin(pitch, written + t).mean()) for t in span}
    return sorted((t for t in span if cover[t] >= LEAST_SHARE), key=lambda t: -cover[t])[:8]


def _starts(turn: FloatArray, onset: FloatArray, same: FloatArray) -> Iterator[tuple[float, float]]:
    """(start, rate) for early and late strikes laid on early and late notes, as far as the tune then fits the turn."""
    span = max(float(onset.max() - onset.min()), 1e-6)
    order = np.argsort(turn)
    for a in order[:ENDS_TRIED]:
        for b in order[-ENDS_TRIED:]:
            for i in np.flatnonzero(same[a]):
                for j in np.flatnonzero(same[b]):
                    if onset[j] - onset[i] <= span / 4:
                        continue
                    rate = float((turn[b] - turn[a]) / (onset[j] - onset[i]))
                    start = float(turn[a] - rate * onset[i])
                    fits = rate > 0 and start + rate * onset.max() < FULL_TURN_DEG and start + rate * onset.min() >= 0
                    if fits:
                        yield start, rate


def _refine(
    fit: _Fit, turn: FloatArray, pitch: FloatArray, onset: FloatArray, written: FloatArray, reach: float
) -> tuple[_Fit, list[tuple[int, int]]]:
    """The fit over all pairs of strike and note, and those pairs: each strike its nearest note, each note once."""
    pairs: list[tuple[int, int]] = []
    for _ in range(3):
        same = pitch[:, None] == written[None, :] + fit.transposition
        off = np.where(same, np.abs(turn[:, None] - (fit.start_deg + fit.rate * onset)[None, :]), np.inf)
        pairs = []
        taken: set[int] = set()
        for i in np.argsort(off.min(axis=1)):
            j = int(off[i].argmin())
            if off[i, j] <= reach and j not in taken:
                taken.add(j)
                pairs.append((int(i), j))
        at, to = np.array([onset[j] for _, j in pairs]), np.array([turn[i] for i, _ in pairs])
        rate, start = np.polyfit(at, to, 1)
        fit = _Fit(fit.transposition, float(start), float(rate), len(pairs))
    return fit, pairs
