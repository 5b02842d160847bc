"""Which note each tooth stands for, whatever pitch the old comb as a whole has come to."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from disc.errors import BadInput
from disc.records import Comb, Plate, Tooth

# Unless said otherwise: chosen by hand, not measured.
# A tooth more than this off its note, the comb's common offset taken out, is too false to carry one. In semitones.
FALSE_TOOTH = 0.4
FEWEST_TEETH = 2  # one pitch makes no tune


@dataclass(frozen=True, slots=True)
class PlayingTooth:
    """A tooth a new disc may use. nominal: the whole MIDI number it stands for."""

    tooth: Tooth
    nominal: int
    tip_theta_deg: float

    @property
    def number(self) -> int:
        """Its number in the comb table."""
        return self.tooth.number


@dataclass(frozen=True, slots=True)
class PlayingComb:
    """The usable teeth. offset: how far the comb as a whole lies from A4 = 440 Hz, semitones. left_out: words why."""

    teeth: tuple[PlayingTooth, ...]
    offset: float
    left_out: tuple[str, ...]


def playing_comb(comb: Comb, plate: Plate) -> PlayingComb:
    """The teeth a new disc can be planned for.

    Raises BadInput if tip angles are missing, a tip stands outside the plate, or fewer than two teeth can be used.
    """
    _check_tips(comb, plate)
    known = [tooth for tooth in comb.teeth if tooth.pitch is not None]
    offset = common_offset([tooth.pitch for tooth in known if tooth.pitch is not None])
    usable, left_out = [], []
    for tooth in comb.teeth:
        reason = _why_not(tooth, offset)
        if reason:
            left_out.append(f"tooth {tooth.number}: {reason}")
        elif tooth.pitch is not None:
            usable.append(PlayingTooth(tooth, nominal_of(tooth.pitch, offset), tooth.tip_deg))
    if len(usable) < FEWEST_TEETH:
        raise BadInput(
            f"the comb table has {len(usable)} usable {'tooth' if len(usable) == 1 else 'teeth'} of {len(comb.teeth)}"
            f"{' (' + left_out[0] + ')' if left_out else ''}; a tune needs at least {FEWEST_TEETH}. Complete the table."
        )
    return PlayingComb(tuple(usable), offset, tuple(left_out))


def common_offset(pitches: list[float]) -> float:
    """How far the pitches lie from whole MIDI numbers together, -0.5 to 0.5: the mean direction of their fractions."""
    total = sum((cmath.exp(2j * math.pi * pitch) for pitch in pitches), 0j)
    return cmath.phase(total) / (2 * math.pi) if abs(total) > 1e-9 else 0.0


def nominal_of(pitch: float, offset: float) -> int:
    """The note a pitch stands for."""
    return round(pitch - offset)


def _why_not(tooth: Tooth, offset: float) -> str:
    if tooth.is_silent and tooth.condition is not None:
        return tooth.condition.value
    if tooth.pitch is None:
        return "its pitch is not known"
    if abs(tooth.pitch - offset - nominal_of(tooth.pitch, offset)) > FALSE_TOOTH:
        return "too far from any note"
    return ""


def _check_tips(comb: Comb, plate: Plate) -> None:
    for tooth in comb.teeth:
        if tooth.tip_r_mm >= plate.radius_mm:
            raise BadInput(
                f"tooth {tooth.number}: its tip at {tooth.tip_r_mm:g} mm stands outside the plate (radius "
                f"{plate.radius_mm:g} mm). Correct the comb table, or give the right --diameter-mm."
            )
        if plate.bore_mm is not None and tooth.tip_r_mm <= plate.bore_mm / 2:
            raise BadInput(
                f"tooth {tooth.number}: its tip at {tooth.tip_r_mm:g} mm stands over the bore (radius "
                f"{plate.bore_mm / 2:g} mm). Correct the comb table, or give the right --bore-mm."
            )
    without = [tooth.number for tooth in comb.teeth if tooth.tip_theta_deg is None]
    if without:
        numbers = ", ".join(map(str, without[:6])) + (" ..." if len(without) > 6 else "")
        raise BadInput(
            f"the comb table gives no tip angle for tooth {numbers}; without it no pin can be placed. "
            "Measure where the tips stand with the disc at rest and fill in tip_theta_deg."
        )
