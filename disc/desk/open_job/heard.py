"""A recorded turn beside the pins: where the disc stands at each moment of the recording, and which strike is heard.

out/listen.json holds how the recording lies on the disc and which pin sounded each onset; here both are put into the
page's terms. Times are seconds of the recording; places are seconds of a steady turn, as everywhere on the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from disc.errors import DiscError
from disc.frame import FloatArray
from disc.job import Job
from disc.records import Plate, Strike

# Unless said otherwise: chosen by hand, not measured.
LEAST_SHARE = 0.5  # of the pins heard must still strike their tooth, or the recording is not laid over the disc


def was_listened(job: Job) -> bool:
    """Whether a recorded turn was compared with the pins."""
    return "listen" in job.content.results


def page_heard(job: Job, strikes: Sequence[Strike]) -> dict[str, Any] | None:
    """The recorded turn last compared with the pins, as plain JSON for the page; None if there is none.

    sounds: [second of the recording, second of the turn, tooth or null, pin or null]; path: [second of the recording,
    turns since the disc stood at rest], rising; silent: pin ids; extra: [second of the recording, second of the turn,
    tooth]; places: for each finding [kind, pin or null, degrees, second of the recording at which to listen]; why:
    words, where the recording cannot be laid over the disc.
    """
    if not was_listened(job):
        return None
    # Brings in scipy, which the page must not wait for.
    from disc.listen.store import load_course, load_listen, load_turn

    nothing: dict[str, Any] = {name: [] for name in ("sounds", "path", "silent", "extra", "places")}
    nothing["name"] = str(job.content.results["listen"].get("file"))
    try:
        turn, findings, course = load_turn(job), load_listen(job), load_course(job)
        if turn is None:
            return None
        if course is None:
            why = "An earlier version of this program compared it with the pins. Compare the recording again."
            return nothing | {"why": why}
        sounds = _sounds(turn["onsets"], course.onset_pins, course.points, strikes, job.plate)
        revolution_s = float(turn["revolution_s"])
    except (DiscError, KeyError, TypeError, ValueError, IndexError, ArithmeticError) as error:
        return nothing | {"why": f"The result of listening cannot be used ({error}). Compare the recording again."}
    heard = sum(pin is not None for pin in course.onset_pins)
    if sum(pin is not None for *_, pin in sounds) < LEAST_SHARE * heard:
        why = "The recorded turn does not lie on the pins as they are now. Compare it with them again."
        return nothing | {"why": why}
    return nothing | {
        "why": "",
        "revolution_s": revolution_s,
        "path": course.points.tolist(),
        "sounds": sounds,
        "silent": [f.pin_id for f, _ in findings if f.kind == "silent-strike" and f.pin_id is not None],
        "places": [[f.kind, f.pin_id, f.theta_deg, round(at, 3)] for f, at in findings],
        "extra": [
            [round(at, 3), round(_turn_s(course.points, at, job.plate), 3), f.tooth]
            for f, at in findings
            if f.kind == "extra-sound"
        ],
    }


def _sounds(
    onsets: Sequence[Sequence[Any]], pins: Sequence[int | None], path: FloatArray, strikes: Sequence[Strike],
    plate: Plate,
) -> list[list[Any]]:  # fmt: skip
    """Rows of second of the recording, second of the turn, tooth, pin; no pin where it does not strike that tooth now.
    onsets: rows of second, pitch, tooth or None; pins: beside them."""
    struck = {(strike.pin_id, strike.tooth) for strike in strikes}
    return [
        [
            round(float(at), 3),
            round(_turn_s(path, float(at), plate), 3),
            None if tooth is None else int(tooth),
            pin if (pin, tooth) in struck and pin is not None else None,
        ]
        for (at, _, tooth), pin in zip(onsets, pins, strict=True)
    ]


def _turn_s(path: FloatArray, at_s: float, plate: Plate) -> float:
    """Second of the steady turn at which the disc stands where it stood at this second of the recording."""
    return float(np.interp(at_s, path[:, 0], path[:, 1]) % 1.0 * plate.revolution_s)
