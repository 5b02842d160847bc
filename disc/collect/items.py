"""What a collection's folder holds: job folders, and pairs of photographs that are not jobs yet."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from disc.errors import BadInput
from disc.job import COMB_FILE, JOB_FILE, PINS_FILE
from disc.object.store import OBJECT_FILE
from disc.records import Plate, Turns
from disc.tables import Column, parse_table, read_text

DISCS_FILE = "discs.csv"
ROW_FORM = b"2"  # grows when a row says more than before, so that older rows are made anew
PHOTO_ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif"})
# A line a pair; what is left empty takes the usual value of Plate.
# The file's columns and their bounds, by definition.
DISC_COLUMNS = (
    Column("name", str),
    Column("diameter_mm", float, low=1.0, high=200.0),
    Column("turns", Turns, required=False),
    Column("revolution_s", float, required=False, low=1.0, high=600.0),
    Column("rest_arc_deg", float, required=False, low=0.0, high=180.0),
    Column("comb", str, required=False),
)


@dataclass(frozen=True, slots=True)
class Item:
    """One disc of the collection: a job folder, or a pair of photographs with what is known of the plate."""

    name: str
    job: Path
    upper: Path | None = None
    lower: Path | None = None
    plate: Plate | None = None
    comb: Path | None = None

    @property
    def is_pair(self) -> bool:
        """Whether the disc must still be read from its photographs."""
        return self.upper is not None


def find_items(folder: Path, jobs: Path, diameter_mm: float | None = None) -> list[Item]:
    """All discs of a folder, by name. jobs: where pairs get their job folders.

    A pair is two photographs NAME-upper.jpg and NAME-lower.jpg (or with _). Its diameter comes from discs.csv, else
    from diameter_mm. Raises BadInput if the folder holds nothing or a pair has no diameter.
    """
    if not folder.is_dir():
        raise BadInput(f"{folder}: there is no such folder. Give the folder that holds the jobs or the photographs.")
    known = _read_discs(folder)
    found = [Item(path.parent.name, path.parent) for path in folder.glob(f"*/{JOB_FILE}")]
    for name, (upper, lower) in _pairs(folder).items():
        plate, comb = known.get(name, (None if diameter_mm is None else Plate.known(diameter_mm=diameter_mm), None))
        if plate is None:
            raise BadInput(
                f"{folder}: how wide is {name}? Give --diameter-mm for all, or a table {DISCS_FILE} with the columns "
                "name,diameter_mm."
            )
        found.append(Item(name, jobs / name, upper, lower, plate, comb))
    if not found:
        raise BadInput(f"{folder}: no job folders here, and no pairs of photographs named NAME-upper and NAME-lower.")
    return sorted(found, key=lambda item: (item.name, str(item.job)))


def _pairs(folder: Path) -> dict[str, tuple[Path, Path]]:
    by_face: dict[str, dict[str, Path]] = {"upper": {}, "lower": {}}
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() not in PHOTO_ENDINGS:
            continue
        for face, photos in by_face.items():
            if path.stem.lower().endswith(("-" + face, "_" + face)):
                photos[path.stem[: -len(face) - 1]] = path
    alone = sorted(by_face["upper"].keys() ^ by_face["lower"].keys())
    if alone:
        raise BadInput(f"{folder}: {alone[0]} has a photograph of one face only. Add the other, or take it away.")
    return {name: (by_face["upper"][name], by_face["lower"][name]) for name in by_face["upper"]}


def _read_discs(folder: Path) -> dict[str, tuple[Plate, Path | None]]:
    path = folder / DISCS_FILE
    if not path.is_file():
        return {}
    rows = {}
    for _, values in parse_table(read_text(path, "list of discs"), DISC_COLUMNS, path, "list of discs"):
        comb = values.pop("comb")
        name = values.pop("name")
        plate = Plate.known(**values)
        rows[name] = (plate, folder / comb if comb else None)
    return rows


def fingerprint(item: Item) -> str:
    """Changes when what the disc's row is made from changes: its photographs, or its pins and comb."""
    digest = hashlib.sha256(ROW_FORM)
    files = (
        [item.upper, item.lower, item.comb]
        if item.is_pair
        else [item.job / n for n in (PINS_FILE, COMB_FILE, OBJECT_FILE)]
    )
    for path in files:
        if path is not None and path.is_file():
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    digest.update(repr(item.plate).encode())
    return digest.hexdigest()
