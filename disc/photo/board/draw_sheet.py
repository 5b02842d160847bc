"""The measuring sheet as a page: one SVG in millimetres, set to PDF at true size. Page axes: x right, y down."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from disc import svg
from disc.locale.catalogue import Language, Reader, mark, reader
from disc.photo.board import pattern
from disc.typeset import ADVANCE_EM, LETTERING, PAPERS_MM, pdf_from_typst, typst_text

BAR_MM = 50.0  # the bar that a calliper is laid on; chosen
BAR_LINE_MM, BAR_END_MM = 0.2, 4.0  # line's width, height of the bar's ends; laid out by eye
TOP_MM, BAR_BELOW_MM = 40.0, 14.0  # of the board on the page, of the bar below it; laid out by eye
FONT_MM, LINE_MM, MARGIN_MM = 3.2, 5.6, 7.0  # letters, lines and page's margin; laid out by eye
# Unless said otherwise: laid out by eye.
COLUMNS = 98  # a longer sentence would shrink all of them: translations keep to it
HOW_TO_USE = (
    mark("Print at 100 % and lay the sheet flat on a hard, plane ground. The disc goes into the window."),
    mark("Tilt the camera by 10 to 15 degrees; disc whole, at least 20 squares about it in the picture."),
    mark("Measure the bar with a caliper; where it is not {mm} mm, give what it is: {option}"),
)
BAR_OPTION = "--bar-mm 49.9"


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """Where things lie on the page, mm. corner: the board's top left; bar: the bar's left end."""

    page_mm: tuple[float, float]
    corner_mm: tuple[float, float]
    bar_mm: tuple[float, float]
    window_mm: int

    @property
    def window_middle_mm(self) -> tuple[float, float]:
        """The window's middle on the page."""
        return self.corner_mm[0] + pattern.MIDDLE_MM[0], self.corner_mm[1] + pattern.MIDDLE_MM[1]


def lay_out(page: str, window_mm: int) -> SheetLayout:
    """The board in the upper half of the page, from side to side in the middle; on whole half millimetres."""
    width, height = PAPERS_MM[page]
    left = round(width - pattern.SIZE_MM[0]) / 2
    bottom = TOP_MM + pattern.SIZE_MM[1]
    return SheetLayout((width, height), (left, TOP_MM), (left, bottom + BAR_BELOW_MM), window_mm)


def sheet_svg(layout: SheetLayout, language: Language = Language.EN) -> str:
    """The page as SVG, its words in the reader's language; one unit is one millimetre."""
    width, height = layout.page_mm
    cx, cy = layout.window_middle_mm
    radius = layout.window_mm / 2
    parts = [
        svg.path(_black_fields(layout.corner_mm), fill="#000000"),
        svg.circle(cx, cy, radius, fill="#ffffff", stroke="#000000", stroke_width=pattern.RING_MM),
        _bar(layout.bar_mm),
        *_words(layout, reader(language)),
    ]
    return svg.document(width, height, parts, unit="mm")


def _black_fields(corner: tuple[float, float]) -> str:
    """All black fields as one path, so that no seams show between them."""
    u0, v0 = corner
    step = pattern.MODULE_MM
    strokes = []
    for row, fields in enumerate(pattern.black_modules()):
        start = 0
        for black, run in groupby(fields.tolist()):
            count = len(list(run))
            if black:
                x, y, wide = u0 + start * step, v0 + row * step, count * step
                strokes.append(f"M{x:g} {y:g}h{wide:g}v{step:g}h{-wide:g}z")
            start += count
    return "".join(strokes)


def _bar(left: tuple[float, float]) -> str:
    """A line between two end strokes whose outer edges are the bar's length apart."""
    x, y = left
    half = BAR_LINE_MM / 2
    right, up, down = x + BAR_MM, y - BAR_END_MM / 2, y + BAR_END_MM / 2
    # One outline: of rectangles printers may round each edge to their own dots.
    way = [(x, up), (x + BAR_LINE_MM, up), (x + BAR_LINE_MM, y - half), (right - BAR_LINE_MM, y - half)]
    way += [(right - BAR_LINE_MM, up), (right, up), (right, down), (right - BAR_LINE_MM, down)]
    way += [(right - BAR_LINE_MM, y + half), (x + BAR_LINE_MM, y + half), (x + BAR_LINE_MM, down), (x, down)]
    return svg.path(f"M{svg.points(way)}z", fill="#000000")


def _words(layout: SheetLayout, t: Reader) -> list[str]:
    x, y = layout.bar_mm
    width = layout.page_mm[0]
    rows = how_to_use(t)
    longest = max(map(len, rows)) * ADVANCE_EM
    size = min(FONT_MM, (width - 2 * MARGIN_MM) / longest)
    left = (width - longest * size) / 2
    lines = [_text(left, y + 12 + k * LINE_MM, words, size) for k, words in enumerate(rows)]
    named = _text(x, TOP_MM - 6, t("Measuring sheet, window {mm} mm", mm=layout.window_mm), FONT_MM)
    bar = _text(x + BAR_MM + 3, y + 1.1, t("{mm} mm over the outer edges", mm=t.number(BAR_MM, 1)), FONT_MM)
    return [named, bar, *lines]


def how_to_use(t: Reader) -> list[str]:
    """The numbered sentences, a line each."""
    said = [t(sentence, mm=t.number(BAR_MM, 1), option=BAR_OPTION) for sentence in HOW_TO_USE]
    return [f"{number}  {words}" for number, words in enumerate(said, start=1)]


def _text(x: float, y: float, words: str, size_mm: float) -> str:
    return svg.text(x, y, words, font_family=LETTERING, font_size=size_mm)


def sheet_pdf(page: str, window_mm: int, language: Language = Language.EN) -> bytes:
    """One page at true size."""
    layout, t = lay_out(page, window_mm), reader(language)
    width, height = layout.page_mm
    title = typst_text(t("Measuring sheet"))
    source = (
        f"#set page(width: {width}mm, height: {height}mm, margin: 0mm)\n"
        f"#set document(title: {title})\n"
        f'#set text(lang: "{language.value}")\n'
        f'#place(top + left, image("sheet.svg", width: {width}mm, height: {height}mm))\n'
    )
    return pdf_from_typst(source, {"sheet.svg": sheet_svg(layout, language)})
