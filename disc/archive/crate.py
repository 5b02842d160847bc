"""ro-crate-metadata.json: what lies in the bag, as RO-Crate 1.1 (https://w3id.org/ro/crate/1.1) wants it said."""

from __future__ import annotations

import json
import mimetypes
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from disc import __version__
from disc.job import Job, sha256_of
from disc.object.fields import BY_KEY

METADATA = "ro-crate-metadata.json"
CONTEXT = "https://w3id.org/ro/crate/1.1/context"
PROFILE = "https://w3id.org/ro/crate/1.1"
KINDS = {".onnx": "application/octet-stream", ".toml": "application/toml", ".ngc": "text/plain", ".abc": "text/vnd.abc"}
# What the files of a job are, for a reader who has never seen one.
DESCRIPTIONS = {
    "job.json": "The plate, settings, and what was run when, with which version and inputs",
    "pins.csv": "The pins in force: the reading with the corrections laid over it",
    "reading.csv": "The pins as read from the photographs, before corrections",
    "comb.csv": "The comb's teeth",
    "corrections.json": "What a person changed",
    "decisions.json": "What a person said to the findings",
    "log.json": "The bench log",
    "object.json": "The object's sheet, fields after Spectrum 5.1",
    "out/report.pdf": "The condition report",
}


def metadata_text(root: Path, job: Job, sheet: Mapping[str, str], when: str) -> str:
    """The metadata of everything under `root` (the bag's payload). sheet: without fields about persons."""
    files = sorted(path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file())
    entities = [_file(root, name) for name in files if name != METADATA]
    runs = [_run(number, run, files) for number, run in enumerate(job.content.runs, start=1)]
    graph: list[dict[str, Any]] = [
        {
            "@id": METADATA,
            "@type": "CreativeWork",
            "conformsTo": {"@id": PROFILE},
            "about": {"@id": "./"},
        },
        {
            "@id": "./",
            "@type": "Dataset",
            "name": f"Pinned disc {job.folder.resolve().name}",
            "description": "Photographs, measurements, corrections, log and papers of a musical watch's pinned disc.",
            "datePublished": when,
            "license": "No licence is given here; ask whoever keeps this record.",
            "hasPart": [{"@id": entity["@id"]} for entity in entities],
            "about": {"@id": "#object"},
            "mentions": [{"@id": run["@id"]} for run in runs],
        },
        {"@id": "#object", "@type": "Thing", "name": sheet.get("name", "disc of a musical watch"), **_object(sheet)},
        {"@id": "#program", "@type": "SoftwareApplication", "name": "disc", "softwareVersion": __version__},
        *entities,
        *runs,
    ]
    return json.dumps({"@context": CONTEXT, "@graph": graph}, indent=1, ensure_ascii=False) + "\n"


def _object(sheet: Mapping[str, str]) -> dict[str, Any]:
    described = "; ".join(f"{BY_KEY[key].unit}: {words}" for key, words in sheet.items())
    return ({"identifier": sheet["number"]} if "number" in sheet else {}) | (
        {"description": described} if described else {}
    )


def _file(root: Path, name: str) -> dict[str, Any]:
    path = root / name
    kind = KINDS.get(path.suffix) or mimetypes.guess_type(name)[0] or "application/octet-stream"
    entity = {
        "@id": name,
        "@type": "File",
        "name": path.name,
        "encodingFormat": kind,
        "contentSize": str(path.stat().st_size),
        "sha256": sha256_of(path),
    }
    words = DESCRIPTIONS.get(name.removeprefix("job/"))
    return entity | ({"description": words} if words else {})


def _run(number: int, run: Any, files: list[str]) -> dict[str, Any]:
    """One command as an action: with what, from what, to what."""
    made = [{"@id": f"job/{name}"} for name in run.outputs if f"job/{name}" in files]
    used = [{"@id": f"job/{name}"} for name in run.inputs if f"job/{name}" in files]
    return {
        "@id": f"#run-{number}",
        "@type": "CreateAction",
        "name": run.command,
        "description": f"disc {run.version}",
        "endTime": run.at,
        "instrument": {"@id": "#program"},
        "object": used,
        "result": made,
    }
