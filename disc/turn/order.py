"""The order of the teeth by pitch as a person types it, with lengths where they were measured."""

from __future__ import annotations

from collections.abc import Sequence

from disc.errors import BadInput
from disc.measures.length import length_mm
from disc.records import Comb


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
