"""An interpreter of the few words our drilling programs use, after the NIST RS274NGC report, version 3 (from memory).

It shares no code with the writer: words are parsed, modes kept, cycles played out move by move (section 3.5.16).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
MODES = {
    "motion": {"G0", "G1", "G80", "G81", "G83"},
    "plane": {"G17"},
    "distance": {"G90", "G91"},
    "feed": {"G94"},
    "units": {"G21"},
    "radius": {"G40"},
    "length": {"G49"},
    "return": {"G98", "G99"},
}


@dataclass
class Move:
    """A straight move. quick: at traverse rate; cycle: within a canned cycle; spindle: whether it turns."""

    start: dict[str, float]
    end: dict[str, float]
    quick: bool
    cycle: bool
    spindle: bool
    feed: float


@dataclass
class Machine:
    """State and what has happened."""

    at: dict[str, float] = field(default_factory=lambda: dict.fromkeys("XYZABC", 0.0))
    mode: dict[str, str] = field(default_factory=dict)
    sticky: dict[str, float] = field(default_factory=dict)
    moves: list[Move] = field(default_factory=list)
    comments: list[str] = field(default_factory=list)
    holes: list[dict[str, float]] = field(default_factory=list)
    stops: list[int] = field(default_factory=list)
    feed: float = 0.0
    spindle: bool = False
    ended: bool = False

    def _go(self, quick: bool, cycle: bool = False, **to: float) -> None:
        end = self.at | to
        self.moves.append(Move(dict(self.at), dict(end), quick, cycle, self.spindle, self.feed))
        self.at = end

    def run(self, text: str) -> Machine:
        """Interpret a whole program between its two per cent signs."""
        lines = text.split("\n")
        assert lines[0] == "%" and lines[-2:] == ["%", ""]
        for line in lines[1:-2]:
            assert len(line) <= 256 and line.isascii() and not self.ended  # 3.1: a line; nothing runs after M2
            self.block(line)
        assert self.ended
        return self

    def block(self, line: str) -> None:
        """One line."""
        for comment in re.findall(r"\(([^()]*)\)", line):
            self.comments.append(comment)
        rest = re.sub(r"\([^()]*\)", "", line)
        assert "(" not in rest and ")" not in rest  # 3.3.4: comments do not nest
        words = WORD.findall(rest.upper())
        assert WORD.sub("", rest.upper()).strip() == "", line
        codes = [f"{letter}{float(number):g}" for letter, number in words if letter in "GM"]
        values = {letter: float(number) for letter, number in words if letter not in "GM"}
        assert len(values) == sum(letter not in "GM" for letter, _ in words)  # no word twice
        for group, members in MODES.items():
            found = [code for code in codes if code in members]
            assert len(found) <= 1, f"two of the group {group}: {line}"  # 3.4
            if found:
                self.mode[group] = found[0]
                codes.remove(found[0])
        self._others(codes, values)
        if any(letter in values for letter in "XYZABC"):
            self._move(values)

    def _others(self, codes: list[str], values: dict[str, float]) -> None:
        self.feed = values.get("F", self.feed)
        for code in codes:
            if code == "M3":
                assert values.get("S", 0) > 0
                self.spindle = True
            elif code == "M5":
                self.spindle = False
            elif code == "M0":
                self.stops.append(len(self.moves))
            elif code == "M2":
                self.ended = True
            else:
                assert code == "G4" and values["P"] >= 0, f"not of this dialect: {code}"

    def _move(self, values: dict[str, float]) -> None:
        axes = {letter: values[letter] for letter in "XYZABC" if letter in values}
        motion = self.mode["motion"]
        if motion in ("G81", "G83"):
            assert not set(axes) & set("ABC"), "a rotary axis within a cycle"  # 3.5.16
            self._cycle(motion, axes, values)
            return
        if self.mode["distance"] == "G91":
            axes = {letter: self.at[letter] + step for letter, step in axes.items()}
        if motion == "G1":
            assert self.feed > 0
        assert motion in ("G0", "G1"), "a move while no motion is set"
        self._go(motion == "G0", cycle=False, **axes)

    def _cycle(self, motion: str, axes: dict[str, float], values: dict[str, float]) -> None:
        """3.5.16.1 (motions before), .3 (G81) and .5 (G83)."""
        self.sticky |= {k: values[k] for k in "RZQ" if k in values}
        old_z, step = self.at["Z"], self.mode["distance"] == "G91"
        clear = self.sticky["R"] + (old_z if step else 0.0)
        bottom = self.sticky["Z"] + (clear if step else 0.0)
        assert clear >= bottom and self.feed > 0
        if old_z < clear:
            self._go(True, cycle=True, Z=clear)
        back = max(old_z, clear) if self.mode.get("return") == "G98" else clear
        for _ in range(int(values.get("L", 1))):
            flat = {k: (self.at[k] + v if step else v) for k, v in axes.items() if k != "Z"}
            self._go(True, cycle=False, **flat)
            self._go(True, cycle=True, Z=clear)
            if motion == "G81":
                self._go(False, cycle=True, Z=bottom)
            else:
                self._peck(clear, bottom)
            self.holes.append({**self.at, "bottom": bottom})
            self._go(True, cycle=True, Z=back)

    def _peck(self, clear: float, bottom: float) -> None:
        depth = clear
        assert self.sticky["Q"] > 0
        while depth > bottom:
            if depth < clear:
                self._go(True, cycle=True, Z=clear)
                self._go(True, cycle=True, Z=depth + 0.254)  # 0.010 inch above the last bite
            depth = max(bottom, depth - self.sticky["Q"])
            self._go(False, cycle=True, Z=depth)


def level(move: Move) -> bool:
    """Whether a move keeps its height."""
    return math.isclose(move.start["Z"], move.end["Z"], abs_tol=1e-9)


def assert_safe(machine: Machine, safe_mm: float) -> None:
    """No quick move sideways or downwards below the safe height, except a peck's own within its hole; and the drill
    goes down slowly, straight and turning."""
    for number, move in enumerate(machine.moves):
        lowest = min(move.start["Z"], move.end["Z"])
        sideways = any(move.start[letter] != move.end[letter] for letter in "XYABC")
        if lowest < safe_mm - 1e-9 and number:  # the first goes up from where the machine stood
            assert not sideways, move
        if move.quick and not level(move) and number:
            assert move.end["Z"] > move.start["Z"] or (move.cycle and move.start["Z"] < 1.0), move
        if not move.quick:
            assert move.spindle and 0 < move.feed < 100, move
    assert max(move.end["Z"] for move in machine.moves) <= safe_mm + 1e-9
