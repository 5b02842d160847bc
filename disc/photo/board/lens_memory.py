"""The lenses that photographs on the sheet have told, kept in the user's folder for later ones without it.

A camera is known by what it writes into its pictures: make, model, focal length, zoom, and the picture's size. A
picture that names no camera is neither remembered nor helped. What is remembered says of a later photo only as much as
refocusing leaves true (FOCAL_WIDTH, K1_WIDTH). One JSON file, written whole; a damaged one is as if absent.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np

from disc.errors import BadInput
from disc.photo.image import CameraName, Photo
from disc.photo.plane.known_lens import KnownLens, lens_alone
from disc.stored import Stored

# How far the same lens differs from one day to the next: focused nearer or farther it draws some per cent larger, and
# bends a little otherwise (common practice, no source).
FOCAL_WIDTH, K1_WIDTH = 0.03, 0.003
FILE = "lenses.json"
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
MOST_PHOTOS = 20  # later ones still move the mean


@dataclass(frozen=True, slots=True)
class Lens:
    """camera; focal_widths: focal length in picture widths (of the longer side); k1; photos: how many told it."""

    camera: CameraName
    focal_widths: float
    focal_sigma: float
    k1: float
    k1_sigma: float
    photos: int
    last: str

    def words(self) -> str:
        """One line for a person."""
        return (
            f"{self.camera.words()}: focal length {self.focal_widths:.3f} picture lengths "
            f"(+/- {100 * self.focal_sigma:.1f} %), k1 {self.k1:+.4f} (+/- {self.k1_sigma:.4f}), "
            f"{self.photos} photo{'s' if self.photos > 1 else ''}, last {self.last}"
        )

    def known(self, width_px: int, height_px: int) -> KnownLens:
        """As a belief about a photo of this size; its width."""
        log_focal = float(np.log(self.focal_widths * max(width_px, height_px) / width_px))
        return lens_alone(
            log_focal,
            float(np.hypot(self.focal_sigma, FOCAL_WIDTH)),
            self.k1,
            float(np.hypot(self.k1_sigma, K1_WIDTH)),
        )


def folder() -> Path:
    """Where it is kept: DISC_LENSES, else the user's data folder."""
    given = os.environ.get("DISC_LENSES")
    if given:
        return Path(given)
    from platformdirs import user_data_path

    return Path(user_data_path("disc", appauthor=False))


@dataclass(frozen=True, slots=True)
class _Lenses:
    lenses: tuple[Lens, ...]


def _lenses_possible(stored: _Lenses) -> None:
    for lens in stored.lenses:
        if not np.all(np.isfinite([lens.focal_widths, lens.focal_sigma, lens.k1, lens.k1_sigma])):
            raise ValueError("a number of a lens is none")
        if lens.focal_widths <= 0:
            raise ValueError("no lens has such a focal length")


LENSES: Stored[_Lenses] = Stored("list of lenses", _Lenses, "It is begun anew.", check=_lenses_possible, unmarked=True)


def remembered() -> list[Lens]:
    """All lenses, the last told first."""
    found = LENSES.load_or(folder() / FILE, _Lenses(()))
    return sorted(found.lenses, key=lambda lens: lens.last, reverse=True)


def lens_of(camera: CameraName | None) -> Lens | None:
    """What is remembered of a camera."""
    return next((lens for lens in remembered() if lens.camera == camera), None) if camera else None


def with_lens(photo: Photo) -> Photo:
    """The photo with what is remembered of its camera."""
    lens = lens_of(photo.camera)
    return photo if lens is None else replace(photo, lens=lens.known(photo.width, photo.height))


def remember(camera: CameraName, known: KnownLens, width_px: int, height_px: int) -> None:
    """Add what one photo on the sheet told; nothing where no focal length is known, or the folder cannot be written."""
    focal_sigma, k1_sigma = float(known.sigmas()[0]), float(known.sigmas()[3])
    focal_px = known.focal_px(width_px)
    if focal_px is None:
        return
    focal = focal_px / max(width_px, height_px)
    new = Lens(camera, focal, focal_sigma, known.k1, k1_sigma, 1, date.today().isoformat())
    old = lens_of(camera)
    others = [lens for lens in remembered() if lens.camera != camera]
    _store([_together(old, new) if old else new, *others])


def _together(old: Lens, new: Lens) -> Lens:
    """Both weighed by their sigmas; the old one never counts as exact, so that a changed lens is learnt."""

    def mean(a: float, b: float, sa: float, sb: float, apart: float) -> tuple[float, float]:
        wa, wb = 1 / (sa**2 + apart**2), 1 / sb**2
        return (wa * a + wb * b) / (wa + wb), float((wa + wb) ** -0.5)

    focal, focal_sigma = mean(
        float(np.log(old.focal_widths)), float(np.log(new.focal_widths)), old.focal_sigma, new.focal_sigma, 0.005
    )
    k1, k1_sigma = mean(old.k1, new.k1, old.k1_sigma, new.k1_sigma, 0.0005)
    photos = min(old.photos + 1, MOST_PHOTOS)
    return replace(
        new, focal_widths=float(np.exp(focal)), focal_sigma=focal_sigma, k1=k1, k1_sigma=k1_sigma, photos=photos
    )


def forget_lens(which: str) -> list[Lens]:
    """Forget one by its number in the list, or all of them. Raises BadInput for a number that is not there."""
    lenses = remembered()
    if which == "all":
        gone, kept = lenses, []
    elif which.isdigit() and 1 <= int(which) <= len(lenses):
        gone = [lenses[int(which) - 1]]
        kept = [lens for lens in lenses if lens is not gone[0]]
    elif not lenses:
        raise BadInput(f"--forget {which}: no lens is remembered, so that there is nothing to forget.")
    else:
        raise BadInput(f"--forget {which}: give a number from `disc sheet --lens` (1 to {len(lenses)}), or all.")
    _store(kept)
    return gone


def _store(lenses: list[Lens]) -> None:
    place = folder()
    try:
        place.mkdir(parents=True, exist_ok=True)
        part = place / f".{FILE}.{os.getpid()}.part"
        part.write_text(LENSES.text(_Lenses(tuple(lenses))), encoding="utf-8")
        part.replace(place / FILE)
    except OSError:
        return
