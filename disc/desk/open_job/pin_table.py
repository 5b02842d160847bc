"""pins.csv as text, written line by line: at an edit only the lines of the pins that changed are made anew."""

from __future__ import annotations

from collections.abc import Sequence

from disc.records import Pin
from disc.tables import format_pins


class PinTable:
    """The lines as they were last written, each beside the very record that it was made from."""

    def __init__(self) -> None:
        self._lines: dict[int, tuple[Pin, str]] = {}

    def text(self, pins: Sequence[Pin]) -> str:
        """The same as format_pins gives."""
        lines = {pin.id: (pin, self._line(pin)) for pin in pins}
        self._lines = lines
        return format_pins(()) + "".join(lines[pin.id][1] for pin in pins)

    def _line(self, pin: Pin) -> str:
        before = self._lines.get(pin.id)
        if before is not None and before[0] is pin:
            return before[1]
        return format_pins((pin,)).partition("\n")[2]
