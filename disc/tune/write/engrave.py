"""MusicXML to engraved pages: SVG with verovio, PDF from those pages with typst, at A4 or Letter."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib.resources import files

from disc import svg
from disc.errors import DiscError
from disc.tune.write.tempo_sign import with_drawn_beats
from disc.typeset import PAPERS_MM

# ISO 216 A4, in mm; verovio counts its page in tenths of a millimetre at scale 100.
A4_WIDTH_MM, A4_HEIGHT_MM = PAPERS_MM["a4"]
MARGIN_MM = 15.0  # of white about the page; laid out by eye
# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
TITLE_MM = 9.0  # room for the title, on every page alike
TITLE_SIZE_MM = 5.5  # of the letters; laid out by eye
SUBTITLE_SIZE_MM = 3.2  # likewise
SUBTITLE_MM = 4.5  # room for the line under the title: the brackets of endings and small figures stand that high
# Size of the music: verovio draws a staff of 7.2 mm at 100 %; this makes 5.2 mm, a usual size for two staves on A4.
# Common practice, no source.
SCALE_PERCENT = 72
UNITS_PER_MM = 10.0 * 100.0 / SCALE_PERCENT  # verovio's tenths of a millimetre at that scale; exact
# A hair of room (1.5 mm, by eye) all around, for slurs and tempo marks that reach beyond the staves.
FITTED = {
    "adjustPageHeight": True,
    "pageWidth": round((A4_WIDTH_MM - 2 * MARGIN_MM) * UNITS_PER_MM),
    "pageHeight": round((A4_HEIGHT_MM - 4 * MARGIN_MM) * UNITS_PER_MM),
    **{f"pageMargin{edge}": round(1.5 * UNITS_PER_MM) for edge in ("Left", "Right", "Top", "Bottom")},
    "pageMarginLeft": round(4.0 * UNITS_PER_MM),  # the brace of two staves stands before them
}


@dataclass(frozen=True, slots=True)
class Engraving:
    """pages: SVG text of each page, upright."""

    pages: tuple[str, ...]


def engrave(musicxml: str, title: str = "", fitted: bool = False, subtitle: str = "", paper: str = "a4") -> Engraving:
    """MusicXML text to SVG pages, the title over the first, the subtitle under it.

    fitted: without margins and only as tall as the music, to be set into a page of words. paper: a4 or letter.
    Raises DiscError if verovio refuses it, a fault of this program.
    """
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    # verovio keeps the place of its fonts for each thread, but its import sets it for the importing one alone.
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))
    toolkit = verovio.toolkit()
    width_mm, height_mm = PAPERS_MM[paper]
    toolkit.setOptions(
        {
            "pageWidth": round(width_mm * UNITS_PER_MM),
            "pageHeight": round(height_mm * UNITS_PER_MM),
            "pageMarginLeft": round(MARGIN_MM * UNITS_PER_MM),
            "pageMarginRight": round(MARGIN_MM * UNITS_PER_MM),
            "pageMarginTop": round((MARGIN_MM + TITLE_MM + (SUBTITLE_MM if subtitle else 0.0)) * UNITS_PER_MM),
            "pageMarginBottom": round(MARGIN_MM * UNITS_PER_MM),
            "scale": SCALE_PERCENT,
            "header": "none",
            "footer": "none",
            "xmlIdSeed": 1,
            "svgViewBox": True,
            "smuflTextFont": "none",
            "mdivAll": True,
            **(FITTED if fitted else {}),
        }
    )
    if not toolkit.loadData(musicxml):
        raise DiscError("the score could not be engraved; the MusicXML was written all the same.")
    pages = [with_drawn_beats(toolkit.renderToSVG(number)) for number in range(1, toolkit.getPageCount() + 1)]
    if title:
        pages[0] = _with_words(pages[0], title, TITLE_SIZE_MM, MARGIN_MM + TITLE_SIZE_MM, width_mm)
    if subtitle:
        pages[0] = _with_words(pages[0], subtitle, SUBTITLE_SIZE_MM, MARGIN_MM + TITLE_MM + 0.5, width_mm)
    return Engraving(tuple(pages))


def _with_words(page: str, words: str, most_mm: float, at_mm: float, width_mm: float) -> str:
    """The page with words of our own: the engraver's are set in a way that page makers place wrongly."""
    width, _ = _page_size(page)
    per_mm = width / width_mm
    # A serif letter is about half as wide as its size; a long title is set smaller to stay between the margins.
    size_mm = min(most_mm, (width_mm - 2 * MARGIN_MM) / (0.5 * len(words)))
    line = svg.text(
        width / 2, at_mm * per_mm, words, text_anchor="middle",
        font_family="Libertinus Serif, Times, serif", font_size=f"{size_mm * per_mm:.0f}px",
    )  # fmt: skip
    return svg.added(page, [line])


def _page_size(page: str) -> tuple[float, float]:
    match = re.search(r'viewBox="0 0 (\d+(?:\.\d+)?) (\d+(?:\.\d+)?)"', page)
    if match is None:
        raise DiscError("the engraved page has no size; the MusicXML was written all the same.")
    return float(match[1]), float(match[2])


def pdf_of_pages(pages: tuple[str, ...], paper: str = "a4") -> bytes:
    """One PDF page for each SVG page, on the paper that they were engraved for."""
    from disc.typeset import pdf_from_typst

    width_mm, height_mm = PAPERS_MM[paper]
    size = f"width: {width_mm:g}mm, height: {height_mm:g}mm"
    lines = [f"#set page({size}, margin: 0mm)"]
    for number in range(1, len(pages) + 1):
        lines.append(f'#image("page-{number}.svg", {size})')
    return pdf_from_typst("\n".join(lines), {f"page-{n}.svg": page for n, page in enumerate(pages, start=1)})
