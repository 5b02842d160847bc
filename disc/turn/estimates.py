"""What the comb's table lacks, estimated so that a tune can be read all the same, and always named as estimated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

from disc.errors import BadInput, MissingPart
from disc.records import Comb, Plate, Strike
from disc.turn.guess import guess_pitches
from disc.turn.tips import DEFAULT_LIMIT_DEG, estimate_tips, with_tips


def with_estimates(
    strikes: tuple[Strike, ...], comb: Comb, plate: Plate, stored: Mapping[str, Any]
) -> tuple[tuple[Strike, ...], dict[str, Any]]:
    """The strikes with unknown tip angles and pitches estimated, and what was estimated, for job.json.

    stored: settings "order" (teeth from low to high) and "tip_limit" (degrees). Raises MissingPart if pitches are
    missing and there is no order, BadInput if the order cannot be read.
    """
    estimated: dict[str, Any] = {}
    if any(tooth.tip_theta_deg is None for tooth in comb.teeth):
        limit_deg = float(stored.get("tip_limit", DEFAULT_LIMIT_DEG))
        tips = estimate_tips(strikes, comb, plate, limit_deg)
        strikes = with_tips(strikes, tips, plate)
        estimated["estimated_tips"] = asdict(tips) | {"limit_deg": limit_deg}
    if all(strike.pitch is not None for strike in strikes):
        return strikes, estimated
    if "order" not in stored:
        raise MissingPart(
            "the comb has teeth without a pitch. Fill in the column pitch (disc comb --table, or --plucked), or name "
            "the teeth from low to high for a guess: disc transcribe --order 12,11,10"
        )
    order, lengths_mm = parse_order(stored["order"])
    guess = guess_pitches(strikes, order, lengths_mm)
    known = {tooth.number: tooth.pitch for tooth in comb.teeth if tooth.pitch is not None}
    pitch = {**guess.pitch, **known}
    estimated["guessed_pitches"] = asdict(guess)
    return tuple(replace(s, pitch=pitch.get(s.tooth)) for s in strikes), estimated


def parse_order(text: str) -> tuple[tuple[int, ...], dict[int, float]]:
    """Teeth from low to high, "12,11,10" or, lengths in mm measured, "12=9.4,11=9.1,10": (order, lengths).

    Raises BadInput for what cannot be read, and for a length that is not positive.
    """
    order: list[int] = []
    lengths_mm: dict[int, float] = {}
    try:
        for part in str(text).replace(";", ",").split(","):
            number, _, length = part.partition("=")
            if not number.strip():
                continue
            order.append(int(number))
            if length.strip():
                lengths_mm[order[-1]] = float(length)
    except ValueError:
        raise BadInput(
            f"the order {text!r} cannot be read. Write the numbers of the teeth, low to high: 12,11,10 (with lengths "
            "in mm: 12=9.4,11=9.1)"
        ) from None
    if not all(0.0 < length < 1000.0 for length in lengths_mm.values()):
        raise BadInput(f"the order {text!r} has a length that cannot be. Lengths are in millimetres: 12=9.4,11=9.1")
    return tuple(order), lengths_mm
