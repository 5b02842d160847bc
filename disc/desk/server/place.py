"""Where the desk of a job was last, with its key: a page left open finds it there again when it has been started anew.

The key lets a browser in, so it is kept in this user's own folder, in a file that nobody else may read, never in the
job; and only for some days.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

# Unless said otherwise: chosen by hand, not measured.
KEPT_S = 3 * 24 * 3600.0  # a page left open over a week-end comes back; an older one is opened anew


@dataclass(frozen=True, slots=True)
class DeskPlace:
    """Port on 127.0.0.1, and the key that goes with it."""

    port: int
    key: str


def kept(folder: Path) -> DeskPlace | None:
    """Where this job's desk was; None if that is not known, too long ago, or cannot be read."""
    path = _file(folder)
    try:
        if path.is_symlink() or time.time() - path.stat().st_mtime > KEPT_S:
            return None
        raw = json.loads(path.read_text(encoding="utf-8"))
        place = DeskPlace(int(raw["port"]), str(raw["key"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return place if 1024 <= place.port <= 65535 and len(place.key) >= 24 else None


def keep(folder: Path, place: DeskPlace) -> None:
    """Remember it. A machine on which that cannot be written has desks that start at a fresh place."""
    path = _file(folder)
    with suppress(OSError):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8") as file:
            json.dump(asdict(place), file)


def _file(folder: Path) -> Path:
    from platformdirs import user_state_path

    name = hashlib.sha256(os.fsencode(folder.resolve())).hexdigest()[:24]
    return user_state_path("disc", appauthor=False) / "desks" / f"{name}.json"
