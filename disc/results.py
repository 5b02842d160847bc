"""What each step leaves of its result in job.json, a record a step: the only way in which one room reads another's.

Fields are what other rooms go by. What is only told to people (`--json`, the page) may stand beside them and is kept
as it is. A field that an older program did not write is None.
"""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict

from disc.records import Turns

# Made ready when first used: a command reads one or two of them.
MODEL = ConfigDict(extra="allow", defer_build=True)


class StepResult(BaseModel):
    """Base of all. STEP: its name in job.json. AGAIN: the command that makes it anew."""

    model_config = MODEL

    STEP: ClassVar[str]
    AGAIN: ClassVar[str]


class ReadResult(StepResult):
    """Of the photographs. counts: by side and condition."""

    STEP: ClassVar[str] = "read"
    AGAIN: ClassVar[str] = "disc read"

    counts: dict[str, dict[str, int]] = {}
    agreement: dict[str, Any] | None = None


class TeethResult(StepResult):
    """How the pins were given their teeth (comb/assign.py). Lengths in millimetres."""

    STEP: ClassVar[str] = "teeth"
    AGAIN: ClassVar[str] = "disc comb"

    probability: dict[int, float] = {}
    runner_up: dict[int, int] = {}
    spread_mm: float | None = None
    stretch: float | None = None
    offset_mm: float | None = None


class TuneResult(StepResult):
    """Of the reading of the tune."""

    STEP: ClassVar[str] = "tune"
    AGAIN: ClassVar[str] = "disc transcribe"

    metre: str | None = None
    metre_probability: float | None = None
    key: str | None = None
    key_probability: float | None = None
    setting_error_s: float | None = None


class MatchResult(BaseModel):
    """One tune of the library that may be the disc's. Bars as printed; transposition in semitones."""

    model_config = MODEL

    file: str
    number: int
    title: str = ""
    collection: str = ""
    probability: float | None = None
    transposition: float | None = None
    from_bar: int | None = None
    to_bar: int | None = None
    agree: int | None = None
    absent: list[Any] = []
    displaced: list[Any] = []
    extra: list[Any] = []
    differs_in_bars: list[int] = []


class PartResult(BaseModel):
    """One tune of a disc with several: shares of the time from the first strike to the last, and seconds."""

    model_config = MODEL

    from_turn: float
    to_turn: float
    from_s: float | None = None
    to_s: float | None = None
    file: str = ""
    number: int = 0
    title: str = ""
    probability: float | None = None


class IdentifyResult(StepResult):
    """Of the search, the best first; parts: of a disc with several tunes, in order of time. differs_in_bars: of the
    print, where a note is absent or displaced.
    """

    STEP: ClassVar[str] = "identify"
    AGAIN: ClassVar[str] = "disc identify"

    matches: list[MatchResult] = []
    verdict: str = ""
    parts: list[PartResult] = []


class DirectionResult(StepResult):
    """What the library says of the way of turning, as long as the disc is said to turn this way."""

    STEP: ClassVar[str] = "direction"
    AGAIN: ClassVar[str] = "disc identify"

    turns: Turns
    doubts: list[dict[str, Any]] = []


class CheckResult(StepResult):
    """What the findings rest on. doubts: about the tune that was given to judge by, until checked again."""

    STEP: ClassVar[str] = "check"
    AGAIN: ClassVar[str] = "disc check"

    counts: dict[str, int] = {}
    known_tune: str | None = None
    doubts: list[dict[str, Any]] = []


class RepinResult(StepResult):
    """Of the plan. history: what each plan came to, the oldest first."""

    STEP: ClassVar[str] = "repin"
    AGAIN: ClassVar[str] = "disc repin"

    history: list[dict[str, Any]] = []


class DesignResult(StepResult):
    """What was planned and what it costs in notes."""

    STEP: ClassVar[str] = "design"
    AGAIN: ClassVar[str] = "disc design"


class ListenResult(StepResult):
    """Of the last recorded turn; the counts are of strikes. file: the recording's name."""

    STEP: ClassVar[str] = "listen"
    AGAIN: ClassVar[str] = "disc listen"

    file: str
    revolution_s: float | None = None
    silent: int | None = None
    extra: int | None = None
    early_late: int | None = None
    weak: int | None = None
    rushing: list[str] = []
    remarks: list[str] = []


class PluckingResult(StepResult):
    """Of the comb plucked tooth by tooth. file: the recording's name."""

    STEP: ClassVar[str] = "plucked"
    AGAIN: ClassVar[str] = "disc comb --plucked"

    file: str
