"""From a tune and a comb to a disc that can be made: timing, arrangement, strikes, pins. The room's front door."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from disc.comb.strikes import pins_from_strikes
from disc.design.arrange.arrange import Arrangement, all_kept, arrange
from disc.design.arrange.partial import KeptPart, fit_kept
from disc.design.arrange.pitches import PlayingComb, playing_comb
from disc.design.arrange.task import prepare
from disc.design.arrange.timing import Timing, set_timing
from disc.design.loudness import overlap_of, standing_mm
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.frame import FULL_TURN_DEG, onset_s
from disc.records import Comb, Pin, Plate, Strike
from disc.tune.score.records import Rank, ScoreIn, ScoreNote
from disc.turn.swing import with_swings
from disc.words import Advance, no_progress

# Unless said otherwise: chosen by hand, not measured.
RIM_STEP_MM = 0.5  # a diameter nobody gave is rounded up to this


@dataclass(frozen=True, slots=True)
class Design:
    """A planned disc. score: the tune asked for, after any cut. strikes, pins: kept pins included.

    pin_of_note: pin id by place in score.notes. kept: what stays of an old disc, None for a new one.
    """

    score: ScoreIn
    comb: Comb
    playing: PlayingComb
    plate: Plate
    settings: DesignSettings
    arrangement: Arrangement
    strikes: tuple[Strike, ...]
    pins: tuple[Pin, ...]
    pin_of_note: dict[int, int]
    kept: KeptPart | None = None

    @property
    def timing(self) -> Timing:
        """Tempo and turn as chosen."""
        return self.arrangement.timing

    @property
    def transposition(self) -> int:
        """Semitones from the tune as written to the disc."""
        return self.arrangement.transposition


def default_plate(comb: Comb, settings: DesignSettings) -> Plate:
    """The smallest plate that leaves the outermost track its distance from the rim, to the next half millimetre."""
    outermost = max(tooth.tip_r_mm for tooth in comb.teeth)
    least = 2 * (outermost + settings.pin_diameter_mm / 2 + settings.edge_mm + 0.01)
    return Plate(diameter_mm=math.ceil(least / RIM_STEP_MM) * RIM_STEP_MM)


def cut_to_bars(score: ScoreIn, first: int, last: int) -> ScoreIn:
    """Bars first..last as played. Raises BadInput if the tune has no such bars or nothing sounds in them."""
    numbers = [bar.number for bar in score.bars]
    if first > last or first < numbers[0] or last > numbers[-1]:
        raise BadInput(
            f"bars {first}-{last} are not in the tune, whose bars as played are {numbers[0]} to {numbers[-1]} "
            "(repeats counted on; 0 is the upbeat). Give others with --bars."
        )
    cut = score.between_bars(first, last)
    if not cut.notes:
        raise BadInput(f"nothing sounds in bars {first}-{last}. Give others with --bars.")
    return cut


def plan_design(
    score: ScoreIn,
    comb: Comb,
    plate: Plate,
    settings: DesignSettings,
    revolution_s: float | None = None,
    transposition: int | None = None,
    advance: Advance = no_progress,
) -> Design:
    """A new disc. revolution_s: the movement's turn; None lets the tempo choose. transposition: fixed by hand.

    Raises BadInput with one line if the comb's table is not enough, the tune too long, or no note playable.
    """
    settings.check()
    playing = playing_comb(comb, plate)
    timing = set_timing(score, plate, settings, revolution_s)
    arrangement = arrange(prepare(score, playing, plate, settings, timing), transposition, advance)
    if not arrangement.placed:
        where = "in any key" if transposition is None else f"moved by {transposition:+d} semitones"
        raise BadInput(f"no note of the tune can be played on this comb {where}. Check the comb's pitches and tracks.")
    turning = replace(plate, revolution_s=timing.revolution_s)
    strikes, pins, pin_of_note = laid_out(score, playing, comb, turning, settings, arrangement, first_id=1)
    return Design(score, comb, playing, turning, settings, arrangement, strikes, pins, pin_of_note)


def plan_partial(
    score: ScoreIn,
    comb: Comb,
    plate: Plate,
    settings: DesignSettings,
    old_pins: tuple[Pin, ...],
    advance: Advance = no_progress,
) -> Design:
    """The sound pins of an old disc stay; what the tune lacks is added, at the old disc's own tempo and key.

    A note whose old pin is lost or bent gets its hole again; for the others new holes are placed clear of all old ones.
    Raises BadInput if the old pins do not play this tune.
    """
    settings.check()
    playing = playing_comb(comb, plate)
    kept = fit_kept(score, playing, plate, old_pins)
    again = tuple(_as_new(pin, settings) for pin in kept.reused)
    lacking = [i for i in range(len(score.notes)) if i not in kept.pin_of_note]
    if not lacking and not again:
        raise BadInput("the sound pins play the whole tune already; nothing is lacking.")
    staying = (*kept.pins, *again)
    if not lacking:
        arrangement = all_kept(score, kept.transposition, kept.timing_from(score, score))
        return Design(score, comb, playing, plate, settings, arrangement, kept.strikes, staying, kept.pin_of_note, kept)
    remaining = replace(score, notes=tuple(score.notes[i] for i in lacking))
    timing = kept.timing_from(remaining, score)
    task = prepare(remaining, playing, plate, settings, timing, (*staying, *kept.holes), tempi=(1.0,))
    found = arrange(task, kept.transposition, advance)
    first_id = max(pin.id for pin in old_pins) + 1
    strikes, pins, pin_of_note = laid_out(remaining, playing, comb, plate, settings, found, first_id)
    whole = {lacking[i]: pin for i, pin in pin_of_note.items()} | kept.pin_of_note
    both = tuple(sorted((*kept.strikes, *strikes), key=lambda s: s.turn_deg))
    arrangement = _in_whole_score(found, score, kept, lacking)
    return Design(score, comb, playing, plate, settings, arrangement, both, (*staying, *pins), whole, kept)


def _as_new(pin: Pin, settings: DesignSettings) -> Pin:
    """A pin set anew in an old hole: the hole's own diameter where it is known."""
    return replace(pin, diameter_mm=pin.diameter_mm or settings.pin_diameter_mm, height_mm=settings.pin_height_mm)


def _in_whole_score(found: Arrangement, score: ScoreIn, kept: KeptPart, lacking: list[int]) -> Arrangement:
    """An arrangement of some notes brought back to the whole score: note numbers, and the shares with the old pins'."""
    placed = tuple(replace(p, note=lacking[p.note]) for p in found.placed)
    melody = {i for i, note in enumerate(score.notes) if note.rank is Rank.MELODY}
    share = replace(
        found.share,
        notes=len(score.notes),
        kept=found.share.kept + len(kept.pin_of_note),
        melody=len(melody),
        melody_kept=found.share.melody_kept + len(melody & set(kept.pin_of_note)),
    )
    lost = tuple((lacking[i], why) for i, why in found.lost)
    return replace(found, placed=placed, lost=lost, share=share)


def laid_out(
    score: ScoreIn,
    playing: PlayingComb,
    comb: Comb,
    plate: Plate,
    settings: DesignSettings,
    arrangement: Arrangement,
    first_id: int,
) -> tuple[tuple[Strike, ...], tuple[Pin, ...], dict[int, int]]:
    """Strikes and pins of the placed notes, through the strike equation of comb/; pin ids in order of the turn."""
    bare = []
    for placed in arrangement.placed:
        tooth = playing.teeth[placed.column]
        turned = turn_of_note(score, score.notes[placed.note], arrangement.timing)
        strike = Strike(turned, float(onset_s(turned, plate.revolution_s)), tooth.number, tooth.tooth.pitch)
        bare.append((strike, placed.note))
    # The same order in which pins_from_strikes numbers its pins.
    bare.sort(key=lambda pair: (pair[0].turn_deg, pair[0].tooth))
    numbered = tuple(replace(strike, pin_id=first_id + i) for i, (strike, _) in enumerate(bare))
    pins = tuple(
        replace(
            pin,
            id=first_id + i,
            diameter_mm=settings.pin_diameter_mm,
            height_mm=standing_mm(score.notes[note], score, settings),
            confidence=1.0,
        )
        for i, (pin, (_, note)) in enumerate(
            zip(pins_from_strikes([strike for strike, _ in bare], comb, plate), bare, strict=True)
        )
    )
    return (
        with_swings(numbered, pins, overlap_of(settings)),
        pins,
        {note: first_id + i for i, (_, note) in enumerate(bare)},
    )


def turn_of_note(score: ScoreIn, note: ScoreNote, timing: Timing) -> float:
    """Degrees turned when a note of the score is struck; an ornament's before its place."""
    lead_deg = note.lead_s / timing.revolution_s * FULL_TURN_DEG
    return timing.start_deg + float(note.onset_quarter - score.start_quarter) * timing.deg_per_quarter - lead_deg
