"""Pages: typst source and its pictures to PDF, always the same bytes for the same input. The only user of typst."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

from disc.errors import BadInput, DiscError

# Typst stamps a PDF with the time; a fixed one keeps the same input giving the same file (2000-01-01 UTC, chosen).
FIXED_TIME_S = 946_684_800
# Papers, width and height: ISO 216; ANSI/ASME Y14.1 A, 8.5 x 11 in.
PAPERS_MM = {"a4": (210.0, 297.0), "a5": (148.0, 210.0), "letter": (215.9, 279.4)}
PRINTED_ON = ("a4", "letter")  # those offered for what a person prints; chosen
# Lettering: a fixed-width face that typst carries with it, so that the width of words is known exactly.
LETTERING = "DejaVu Sans Mono"
ADVANCE_EM = 0.602  # width of every character of LETTERING: 1233 of its 2048 units; from memory


def check_paper(paper: str) -> str:
    """The paper's name in small letters. Raises BadInput for a size that is not offered."""
    if paper.lower() not in PRINTED_ON:
        raise BadInput(f"no paper is called {paper!r} here; choose {' or '.join(PRINTED_ON)}.")
    return paper.lower()


def pdf_from_typst(source: str, files: Mapping[str, bytes | str] | None = None) -> bytes:
    """The PDF of a typst document. files: pictures and data by the relative name the source uses for them.

    Raises DiscError if the document does not compile, which is a fault of this program, not of the user.
    """
    import typst

    with tempfile.TemporaryDirectory(prefix="disc-pages-") as name:
        folder = Path(name)
        for file_name, content in (files or {}).items():
            target = folder / file_name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        main = folder / "main.typ"
        main.write_text(source, encoding="utf-8")
        try:
            return bytes(typst.compile(str(main), root=str(folder), timestamp=FIXED_TIME_S))
        except RuntimeError as error:
            raise DiscError(f"the page could not be set: {' '.join(str(error).split())[:300]}") from error


def typst_text(words: str) -> str:
    """Words as a typst string literal, so that nothing a person typed acts as markup."""
    escaped = words.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
