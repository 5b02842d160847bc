"""What the job's record of a reading leaves in doubt. Apart from read_photos.py, so that what only asks for doubts need
not load all that reads a photograph.
"""

from __future__ import annotations

from collections.abc import Sequence

from disc.doubts import doubts_from_json
from disc.job import Job
from disc.photo.faces_fit import SAME_FACE, FacesFit, faces_fit, traits_from_json
from disc.photo.recorded_doubts import recorded_doubts
from disc.photo.seen.face_doubts import not_photographed
from disc.records import About, Doubt, Pin, Side


def reading_doubts(job: Job, reading: Sequence[Pin] | None = None) -> tuple[Doubt, ...]:
    """What is doubtful of the reading in force: of each photographed face, and that a face was not photographed.

    None for a job whose pins come from no photograph. reading: the pins as read, where they are at hand.
    """
    doubts: list[Doubt] = []
    for side in Side:
        face = job.content.faces.get(side.value)
        if face is not None:
            where = f"{job.folder}: the {side.value} face's doubts"
            doubts += [*doubts_from_json(face.get("doubts", []), where), *recorded_doubts(side, face, where)]
        elif job.content.faces:
            doubts.append(not_photographed(side, str(job.folder)))
    fit = load_faces_fit(job, reading)
    if fit is not None:
        doubts += _misfits(fit)
    return tuple(doubts)


def load_faces_fit(job: Job, reading: Sequence[Pin] | None = None) -> FacesFit | None:
    """Whether the two faces of the reading in force are one disc's; None where one of them was not photographed."""
    pins = job.reading() if reading is None else reading
    traits = [
        traits_from_json(job.content.faces.get(side.value, {}), [pin for pin in pins if pin.side is side])
        for side in Side
    ]
    upper, lower = traits
    return None if upper is None or lower is None else faces_fit(upper, lower)


def _misfits(fit: FacesFit) -> list[Doubt]:
    if fit.same_face > SAME_FACE:
        words = "the photographs of the upper and of the lower face show one and the same face."
        return [Doubt(About.FACE, words, "Photograph the other face, and read it: disc read JOB --lower PHOTO")]
    if fit.odds >= 0:
        return []
    against = "; ".join(e.words for e in sorted(fit.evidence, key=lambda e: e.weight) if e.weight < 0)
    words = f"the upper and the lower face may be two different discs: {against}."
    advice = "Look whether both photographs show this disc, and read the right one again: disc read JOB --lower PHOTO"
    return [Doubt(About.DISC, words, advice, probability=1 - fit.probability)]
