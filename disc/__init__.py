"""Reads the pinned disc of a musical watch from photographs, and lays out new ones.

Two chains meet in records.py and frame.py: photo/ -> comb/ -> tune/ reads an old disc, design/ -> repin/ makes a new
one. Open cli.py to see the commands; from Python, the same steps are the functions of api.py, offered here by name and
loaded when first asked for:

>>> import disc
>>> sorted(name for name in dir(disc) if name in disc.__all__)[:3]
['check_disc', 'design_disc', 'identify']
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Any

    from disc.api import (
        check_disc,
        design_disc,
        identify,
        open_job,
        plan,
        read_photographs,
        resolve,
        transcribe,
    )

__version__ = "0.2.0"

# None is a room's name: disc.check is the room, so that the step is disc.check_disc.
__all__ = [
    "check_disc",
    "design_disc",
    "identify",
    "open_job",
    "plan",
    "read_photographs",
    "resolve",
    "transcribe",
]


def __getattr__(name: str) -> "Any":
    if name not in __all__:
        raise AttributeError(f"module 'disc' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module("disc.api"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
