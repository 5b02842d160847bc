"""Options that take a measure as a restorer writes it: --bore-mm 2.5, "3/32 in", "2,5 mm", "98 thou"."""

from __future__ import annotations

from collections.abc import Callable


def length(option: str) -> Callable[[object], float]:
    """What reads an option's length; use it as typer.Option(parser=length("--bore-mm")). Raises BadInput naming it."""

    def read(text: object) -> float:
        from disc.measures.length import length_mm

        return length_mm(str(text), option)

    read.__name__ = "LENGTH"  # shown in --help
    return read


def angle(option: str) -> Callable[[object], float]:
    """What reads an option's angle in degrees, minutes or holes of a plate."""

    def read(text: object) -> float:
        from disc.measures.angle import angle_deg

        return angle_deg(str(text), option)

    read.__name__ = "ANGLE"
    return read
