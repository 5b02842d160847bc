"""Where the library lies, and its manifest: which index is in force, made from what."""

from __future__ import annotations

import json
import os
from pathlib import Path


def library_folder() -> Path:
    """Where the library lies. Not made here."""
    named = os.environ.get("DISC_LIBRARY")
    if named:
        return Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("disc") / "library"


def read_manifest(folder: Path) -> dict[str, object] | None:
    """The manifest in this folder; None: there is none. Raises OSError or ValueError where it is damaged."""
    path = folder / "manifest.json"
    if not path.is_file():
        return None
    content = json.loads(path.read_text(encoding="utf-8"))
    if not isinstance(content, dict):
        raise ValueError("its manifest is no table")
    return content


def manifest_or_none(folder: Path) -> dict[str, object] | None:
    """As read_manifest, and None for a damaged one."""
    try:
        return read_manifest(folder)
    except (OSError, ValueError):
        return None


def write_json(path: Path, content: object) -> None:
    """Write a file whole, then rename it into place."""
    partial = path.with_name(path.name + ".part")
    partial.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    os.replace(partial, path)
