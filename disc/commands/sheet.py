"""`disc sheet`: the measuring sheet to lay under the disc, and the lenses it has told."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from disc.errors import BadInput
from disc.locale.catalogue import Language
from disc.words import say, show_json


class PaperSize(StrEnum):
    """Paper that the sheet comes on."""

    A4 = "a4"
    A5 = "a5"
    LETTER = "letter"


def sheet(
    out: Annotated[Path, typer.Option(help="The PDF to write.")] = Path("measuring-sheet.pdf"),
    diameter_mm: Annotated[float | None, typer.Option(help="The disc's diameter: the window is 4 mm wider.")] = None,
    window: Annotated[float | None, typer.Option(help="The window's width in mm, 26 to 44 in steps of 2.")] = None,
    page: Annotated[PaperSize, typer.Option(help="The paper.", case_sensitive=False)] = PaperSize.A4,
    language: Annotated[Language, typer.Option(help="The language of what is printed on it.")] = Language.EN,
    lens: Annotated[bool, typer.Option("--lens", help="List the lenses that earlier photographs told.")] = False,
    forget: Annotated[str | None, typer.Option(help="With --lens: forget this one by its number, or all.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """The measuring sheet to lay under the disc (PDF); or, with --lens, the lenses it has told."""
    if lens or forget:
        _lenses(forget, as_json)
        return
    from disc.photo.board.draw_sheet import sheet_pdf
    from disc.photo.board.pattern import checked_window, window_for

    if window is not None:
        width = checked_window(window)
    elif diameter_mm is not None:
        width = window_for(diameter_mm)
    else:
        raise BadInput("disc sheet: how wide is the disc? Give --diameter-mm, or the window's width with --window.")
    write_whole(out, sheet_pdf(page.value, width, language))
    if as_json:
        show_json({"file": out, "page": page, "window_mm": width, "language": language})
        return
    say(f"{out}: the measuring sheet, {page.value.upper() if len(page) == 2 else 'Letter'}, window {width} mm.")
    say("Print it at 100 % (no fitting to the page), and measure the bar of 50 mm with a caliper.")
    say("Lay it flat, the disc in the window, and tilt the camera by 10 to 15 degrees.")


def write_whole(path: Path, data: bytes) -> None:
    """The file, whole or not at all."""
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        why = error.strerror or error
        raise BadInput(f"{path}: cannot be written ({why}). Name another place with --out.") from error


def _lenses(forget: str | None, as_json: bool) -> None:
    from disc.photo.board.lens_memory import forget_lens, remembered

    gone = forget_lens(forget) if forget else []
    kept = remembered()
    if as_json:
        show_json({"lenses": kept, "forgotten": gone})
        return
    for one in gone:
        say(f"forgotten: {one.words()}")
    if not kept:
        say("No lens is remembered. Photographs on the measuring sheet tell it, where the camera names itself in them.")
    for number, one in enumerate(kept, 1):
        say(f"{number}  {one.words()}")
