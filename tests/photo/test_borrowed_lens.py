"""What another photograph's sheet told of a lens is not believed where the pins of a face deny it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from disc.photo import solved_together as room
from disc.photo.image import Photo
from disc.photo.plane.joint import settle_jointly
from disc.photo.plane.known_lens import lens_alone
from disc.photo.plane.straight_lines import LinesTold
from disc.photo.several import lens_told
from disc.records import Side
from tests.photo.test_bundle import AWAY_MM, RADIUS_MM, SIZE_PX, photographed

SEEN = SimpleNamespace(photo=SimpleNamespace(focal_px=1.0), first=SimpleNamespace(size=(SIZE_PX, SIZE_PX)))
FOCAL_PX = 0.8 * SIZE_PX * AWAY_MM / (2 * RADIUS_MM)


@dataclass(frozen=True)
class Look:
    """As much of a PhotoLook as is asked for; alone: what it is without the borrowed lens."""

    joint: Any
    side: Side = Side.UPPER
    alone: Any = None
    seen: Any = field(default_factory=lambda: SEEN)


def through(joint, k1):
    """The same photograph through a lens of which one believes that it bends by k1."""
    problem = joint.fit[0]
    known = lens_alone(problem.log_focal, 0.02, k1, 0.002)
    return settle_jointly(problem.plane, problem.slant, RADIUS_MM, problem.marks, FOCAL_PX, known)


@pytest.fixture(scope="module")
def three():
    return [photographed(12.0, 0.0, 1), photographed(10.0, 170.0, 2, slice(0, 60)), photographed(9.0, 80.0, 3)]


@pytest.mark.parametrize(("k1", "kept"), [(0.0, True), (0.033, False)])
def test_a_lens_is_kept_as_long_as_the_pins_lie_on_one_another(three, monkeypatch, k1, kept):
    monkeypatch.setattr(room, "by_own_lens", lambda look: look.alone)
    sheet, plain, other = (Look(through(one, 0.0)) for one in three)
    borrowed = Look(through(three[1], k1), alone=plain)
    lone = Look(through(three[2], k1), Side.LOWER, alone=replace(other, side=Side.LOWER))
    held = room.lenses_that_hold([sheet, borrowed, lone])
    assert (held[1] is borrowed) == kept and held[0] is sheet
    assert (held[2] is lone) == kept  # no other shows its face: it goes by what the others say of the lens
    third = room.lenses_that_hold([sheet, borrowed, other])  # and among three of a face too
    assert (third[1] is borrowed) == kept and third[2] is other


def test_straight_lines_deny_another_cameras_sheet(monkeypatch):
    photos = [Photo(Path(f"{name}.jpg"), np.zeros((4, 6, 3), np.uint8)) for name in "ab"]
    sheets = lens_alone(1.0, 0.02, 0.0167, 0.002)
    monkeypatch.setattr(lens_told, "lens_by_sheets", lambda photo, *_: sheets if photo is photos[1] else None)
    for k1, borrowed in ((0.013, True), (-0.028, False)):
        monkeypatch.setattr(lens_told, "_lines_of", lambda item, k1=k1: LinesTold(k1, 0.0016, 5))
        alone, told = lens_told.lenses_told(photos, [None, None])
        assert not alone.borrowed and told.borrowed == borrowed
        assert (told.lens.focal_px(6) is not None) == borrowed and told.own.k1 == pytest.approx(k1)
