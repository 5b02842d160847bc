"""What the comb's table lacks, estimated so that a tune can be read all the same, and always named as estimated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from disc.errors import BadInput, MissingPart
from disc.measures.length import length_mm
from disc.records import Comb, Plate, Strike
from disc.turn.guess import guess_pitches
from disc.turn.silent_teeth import pitches_between
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
    unknown = sorted({strike.tooth for strike in strikes if strike.pitch is None})
    if "order" not in stored:
        between = pitches_between(comb, unknown)
        if between is None:
            raise MissingPart(
                f"{tooth_words(unknown)} of the comb {'has' if len(unknown) == 1 else 'have'} no pitch. Fill in the "
                "column pitch (disc comb --table, or --plucked), or name the teeth from low to high for a guess: "
                "disc transcribe --order 12,11,10"
            )
        estimated["pitches_between"] = {str(tooth): pitch for tooth, pitch in between.items()}
        return tuple(_guessed(strike, between) for strike in strikes), estimated
    order, lengths_mm = parse_order(stored["order"])
    check_order(order, comb, unknown)
    guess = guess_pitches(strikes, order, lengths_mm)
    known = {tooth.number: tooth.pitch for tooth in comb.teeth if tooth.pitch is not None}
    pitch = {**guess.pitch, **known}
    estimated["guessed_pitches"] = asdict(guess)
    return tuple(replace(s, pitch=pitch.get(s.tooth)) for s in strikes), estimated


def _guessed(strike: Strike, between: Mapping[int, float]) -> Strike:
    return replace(strike, pitch=between[strike.tooth], doubtful=True) if strike.pitch is None else strike


def tooth_words(numbers: Sequence[int], most: int = 12) -> str:
    """Teeth by their numbers, as a sentence begins: "tooth 7", "teeth 3, 4, 9 and 5 more"."""
    shown = ", ".join(map(str, numbers[:most]))
    more = f" and {len(numbers) - most} more" if len(numbers) > most else ""
    return f"{'tooth' if len(numbers) == 1 else 'teeth'} {shown}{more}"


def check_order(order: Sequence[int], comb: Comb, unknown: Sequence[int]) -> None:
    """Raises BadInput if the order leaves out a struck tooth without a pitch, or names one that the comb has not."""
    strange = sorted(set(order) - {tooth.number for tooth in comb.teeth})
    if strange:
        raise BadInput(
            f"the order names {tooth_words(strange)}, not in the comb's table. Correct --order or the table."
        )
    absent = sorted(set(unknown) - set(order))
    if absent:
        raise BadInput(
            f"the order lacks {tooth_words(absent)}: struck, and without a pitch. Put "
            f"{'it' if len(absent) == 1 else 'them'} into --order too, from low to high."
        )


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
                lengths_mm[order[-1]] = length_mm(
                    length, f"the order {str(text)[:40]!r} cannot be read: tooth {order[-1]}"
                )
    except ValueError:
        raise BadInput(
            f"the order {text!r} cannot be read. Write the numbers of the teeth, low to high: 12,11,10 (with lengths "
            "in mm: 12=9.4,11=9.1)"
        ) from None
    if not all(0.0 < length < 1000.0 for length in lengths_mm.values()):
        raise BadInput(f"the order {text!r} has a length that cannot be. Lengths are in millimetres: 12=9.4,11=9.1")
    return tuple(order), lengths_mm
