"""Brings the catalogues up to date with the code: python -m disc.locale.update

New sentences are added without a translation, changed ones lose theirs, those no longer said go. Then translate what is
empty in de/disc.po and fr/disc.po; tests/locale says what is still missing.
"""

from __future__ import annotations

import ast
from pathlib import Path

from disc.locale.catalogue import Language

HOUSE = Path(__file__).parents[1]
# How sentences are named in the code: t("..."), t.plural("one", "many", n), mark("...").
# Words to gather, and how many of the first arguments are words; by definition.
KEYWORDS = {"t": 1, "plural": 2, "mark": 1}
TRANSLATED = tuple(language for language in Language if language is not Language.EN)


def catalogue_path(language: Language) -> Path:
    """The catalogue of a language in the source tree."""
    return Path(__file__).parent / language.value / "disc.po"


def sentences() -> dict[object, list[str]]:
    """Every sentence said in disc/, (one, many) where it has a plural, with the files that say it.

    Read from the syntax tree: a search by tokens would miss what is said within an f-string.
    """
    found: dict[object, list[str]] = {}
    for path in sorted(HOUSE.rglob("*.py")):
        for message in sentences_of(path.read_text(encoding="utf-8")):
            found.setdefault(message, []).append(path.relative_to(HOUSE).as_posix())
    return dict(sorted(found.items(), key=lambda pair: (pair[1][0], str(pair[0]))))


def sentences_of(source: str) -> list[object]:
    """What one module says, in the order of its lines."""
    said: list[object] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            given = node.args[: KEYWORDS.get(name, 0)]
            words = [arg.value for arg in given if isinstance(arg, ast.Constant) and isinstance(arg.value, str)]
            if words and all(words) and len(words) == KEYWORDS[name]:
                said.append(words[0] if len(words) == 1 else tuple(words))
    return said


def update(language: Language) -> int:
    """Write a language's catalogue anew, its translations kept; returns how many sentences lack one."""
    from babel.messages.catalog import Catalog
    from babel.messages.pofile import read_po, write_po

    path = catalogue_path(language)
    old = Catalog(locale=language.value)
    if path.is_file():
        with path.open("rb") as file:
            old = read_po(file, locale=language.value)
    # The day on which it was begun stays: a date that changes with every run sets two persons' work against each other.
    begun = old.creation_date
    new = Catalog(locale=language.value, project="disc", charset="utf-8", fuzzy=False, creation_date=begun)
    missing = 0
    for message, files in sentences().items():
        known = old.get(message[0] if isinstance(message, tuple) else str(message))
        text = known.string if known and known.string and known.id == message else ""
        text = text or (("", "") if isinstance(message, tuple) else "")
        new.add(message, text, locations=[(name, 0) for name in sorted(set(files))])  # type: ignore[arg-type]
        missing += not (all(text) if isinstance(text, (tuple, list)) else text)
    path.parent.mkdir(exist_ok=True)
    with path.open("wb") as file:
        write_po(file, new, width=110, omit_header=False, include_lineno=False, sort_by_file=True)
    return missing


if __name__ == "__main__":
    for chosen in TRANSLATED:
        print(f"{chosen.value}: {update(chosen)} sentences without a translation")
