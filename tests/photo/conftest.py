"""The shipped sample disc (samples/first-disc, path-traced, its truth beside it) and a job made of it."""

from __future__ import annotations

import json

import pytest

from disc.photo.image import load_photo
from disc.photo.read_face import read_face
from disc.records import Plate, Side

from .photo_sample import SAMPLE


@pytest.fixture(scope="session")
def truth():
    return json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def plate(truth):
    return Plate(truth["disc"]["diameter_mm"], bore_mm=truth["disc"]["bore_mm"])


@pytest.fixture(scope="session")
def upper_photo():
    return load_photo(SAMPLE / "upper.jpg")


@pytest.fixture(scope="session")
def upper_reading(upper_photo, plate):
    return read_face(upper_photo, Side.UPPER, plate)
