"""The work list as a PDF for the bench: cautions, the work place by place, machine settings, estimate; and the sheets.

Pages are set by typst (typeset.py); everything a person or a file said goes in as a string, never as markup.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from disc.doubts import doubt_in, in_order
from disc.frame import turns_seen, work_turns
from disc.locale.catalogue import Language
from disc.locale.said import said_in
from disc.records import Doubt, Side
from disc.repin.records import Estimate, FaceDividing, Operation, Plan, Station
from disc.repin.sheets.drill_table import machine_rows, sides_worked, worst_ms
from disc.repin.sheets.face_sheet import JobPage
from disc.repin.sheets.rows import bar_words, do_words
from disc.repin.sheets.sheet import PAGES_MM
from disc.typeset import pdf_from_typst, typst_text
from disc.words import CAUTIONS, counted

PAPERS = {"a4": "a4", "letter": "us-letter"}
BEFORE = "Before you handle the object"
_PRINTED = re.compile(r'#"((?:[^"\\]|\\.)*)"')  # a string literal of typst that is set as text
SEMICOLON = "; "
# Between words of a cell that are said each by itself in another language: a reason is a sentence or two of its own.
APART = "\v"
WAY_WORDS = {"clockwise": "clockwise", "counterclockwise": "counter-clockwise"}


def sheets_pdf(sheets: Mapping[str, str], paper: str) -> bytes:
    """All sheets, one to a page, at exactly the size they were drawn."""
    width, height = PAGES_MM[paper]
    pages = "\n#pagebreak()\n".join(
        f'#image("{name}.svg", width: {width}mm, height: {height}mm, fit: "stretch")' for name in sheets
    )
    source = f"#set page(width: {width}mm, height: {height}mm, margin: 0mm)\n#set par(spacing: 0pt)\n{pages}\n"
    return pdf_from_typst(source, {f"{name}.svg": text for name, text in sheets.items()})


def work_list_pdf(
    plan: Plan, page: JobPage, history: Sequence[Mapping[str, Any]], doubts: Sequence[Doubt] = ()
) -> bytes:
    """The work list of a plan."""
    return pdf_from_typst(said_anew(work_list_source(plan, page, history, doubts), page.language))


def said_anew(source: str, language: Language) -> str:
    """Typst text with every string that is printed in the reader's language."""
    if language is Language.EN:
        return source
    said = said_in(language)

    def anew(found: re.Match[str]) -> str:
        words = found[1].replace('\\"', '"').replace("\\\\", "\\")
        return "#" + typst_text(said.joint(words) if words == SEMICOLON else said(words))

    return _PRINTED.sub(anew, source)


def work_list_source(
    plan: Plan, page: JobPage, history: Sequence[Mapping[str, Any]], doubts: Sequence[Doubt] = ()
) -> str:
    """The typst text of the work list."""
    parts = [_preamble(page), _opening(plan, page, doubts)]
    for side in sides_worked(plan):
        parts.append(_face(plan, side))
    parts += [_machines(plan, face) for face in plan.dividing]
    if plan.estimate:
        parts.append(_estimate(plan.estimate, history))
    return "\n\n".join(parts) + "\n"


def _preamble(page: JobPage) -> str:
    name, words = typst_text(page.name), typst_text("work list, page")
    footer = f"#text(8pt)[#{name} #h(1fr) #{words} #context counter(page).display()]"
    return (
        f'#set page(paper: "{PAPERS[page.paper]}", margin: (x: 14mm, top: 14mm, bottom: 16mm), footer: [{footer}])\n'
        '#set text(size: 9pt, number-width: "tabular", hyphenate: false)\n'
        "#set par(justify: false, leading: 0.5em)\n"
        "#set table(stroke: 0.3pt + luma(160), inset: (x: 3pt, y: 2.6pt))\n"
        "#set table.cell(breakable: false)\n#show table.cell.where(y: 0): strong\n"
        "#show heading: set block(above: 1.2em, below: 0.6em)"
    )


def _opening(plan: Plan, page: JobPage, doubts: Sequence[Doubt]) -> str:
    plate = plan.plate
    fills_up = plan.designed and any(s.operations == (Operation.LEAVE,) for s in plan.stations)
    kind = "an old disc filled up" if fills_up else "a new disc: every pin is set" if plan.designed else "an old disc"
    facts = [
        f"{kind}, {plate.diameter_mm:g} mm across, turning {WAY_WORDS[plate.turns.value]} as seen on the upper face, "
        f"{plate.revolution_s:.4g} s a turn.",
        count_words(plan),
    ]
    if plan.setting_error_ms is not None:
        facts.append(f"The standing pins keep the beat to {plan.setting_error_ms:.0f} ms (root mean square).")
    facts += plan.notes
    lines = " ".join(facts)
    said = said_in(page.language)
    # Said here and whole: as literals without "#" they are not said once more, part by part.
    unsure = "".join(f"- #text({typst_text(doubt_in(doubt, said))})\n" for doubt in in_order(doubts))
    cautions = "\n".join(f"- #{typst_text(CAUTIONS[key])}" for key in plan.cautions)
    return (
        f"= #{typst_text('Work list: ' + page.name)}\n\n{unsure}\n#{typst_text(lines[0].upper() + lines[1:])}\n\n"
        "#block(stroke: 0.8pt, inset: 6pt, width: 100%)[*#" + typst_text(BEFORE) + "*\n" + cautions + "\n]"
    )


def count_words(plan: Plan) -> str:
    """How many places have each operation, in words; places in doubt are counted once, apart."""
    counts = {op: sum(op in s.operations and not s.in_doubt for s in plan.stations) for op in Operation}
    words = [f"{op.value} {n}" for op, n in counts.items() if n]
    doubt = sum(s.in_doubt for s in plan.stations)
    if doubt:
        words.append(f"{doubt} places in doubt" if doubt > 1 else "1 place in doubt")
    return "Work: " + ", ".join(words) + "." if words else "There is nothing to do."


# ---- a face


def _face(plan: Plan, side: Side) -> str:
    plain = [s for s in plan.of(side) if s.number is None]
    seen = WAY_WORDS[turns_seen(plan.plate.turns, side).value]
    head = (
        f"Once round from the stop slot, by rising angle. On this face the disc turns {seen}; bring the next place to "
        f"hand by turning the disc {WAY_WORDS[work_turns(side).value]}."
    )
    left = f"Left as they are: {counted(len(plain), 'pin')} without a number." if plain else ""
    if plan.designed:
        return f"== #{typst_text(side.value.capitalize() + ' face')}\n#{typst_text(head)}\n\n{_new_holes(plan, side)}"
    rows = [_station_cells(s) for s in plan.numbered(side)]
    table = _table(
        ("no.", "do", "place", "beside its nominal place", "pin and hole", "why, and what to look out for"),
        "(auto, 25mm, 28mm, 31mm, 34mm, 1fr)",
        rows,
    )
    opening = f"#block(sticky: true)[#{typst_text(head)} #{typst_text(left)}]"  # on the page on which its table begins
    return f"== #{typst_text(side.value.capitalize() + ' face')}\n{opening}\n\n{table}"


def _station_cells(s: Station) -> list[str]:
    place = f"r {s.place.r_mm:.3f} mm\n{s.place.theta_deg:.3f}°\nx {s.place.x_mm:+.3f}  y {s.place.y_mm:+.3f}"
    why = [*dict.fromkeys(t.reason for t in s.tasks), *(t.toward and f"push {t.toward}" for t in s.tasks), *s.notes]
    where = ", ".join(
        word
        for word in (
            f"tooth {s.tooth}" if s.tooth is not None else "",
            f"bar {bar_words(s.bar, s.beat)}" if s.bar is not None else "",
            f"pin {s.pin_id}" if s.pin_id is not None else "",
        )
        if word
    )
    reasons = f"{APART}{SEMICOLON}{APART}".join(_without_repeats([w for w in why if w]))
    doubt = "\nIN DOUBT" if s.in_doubt else ""
    return [
        str(s.number),
        do_words(s).replace("+", "\n+ ") + doubt,
        place,
        _beside(s),
        _pin_words(s),
        f"{reasons}{APART} ({where})",
    ]


def _new_holes(plan: Plan, side: Side) -> str:
    """The holes of a new disc, a line each; what they all share is said once above the table."""
    stations = plan.numbered(side)
    shared, rows = dict.fromkeys(_common(s) for s in stations), []
    for s in stations:
        place = s.place
        wall = f"{s.wall.wall_mm:.2f} mm, {s.wall.to}" if s.wall else ""
        deep = f"{s.depth_mm:.2f}" if s.depth_mm is not None else "?" if s.needs_hole else "old"
        own = [_common(s)] if len(shared) > 1 else []
        numbers = (f"{place.r_mm:.3f}", f"{place.theta_deg:.3f}", f"{place.x_mm:+.3f}", f"{place.y_mm:+.3f}")
        rows.append(
            [
                str(s.number),
                *numbers,
                deep,
                str(s.tooth or ""),
                bar_words(s.bar, s.beat),
                wall,
                "; ".join([*own, *s.notes]),
            ]
        )
    head = "" if len(shared) != 1 else f"#{typst_text('Every hole: ' + next(iter(shared)) + '.')}\n\n"
    columns = ("no.", "r mm", "angle °", "x mm", "y mm", "deep", "tooth", "bar", "least wall", "look out for")
    return head + _table(columns, "(auto, auto, auto, auto, auto, auto, auto, auto, auto, 1fr)", rows, size_pt=8.0)


def _common(s: Station) -> str:
    """Wire, drill, height and tolerance of a new hole."""
    parts = []
    if s.stock:
        drill = f", drill {s.stock.drill.name} ({s.stock.words})" if s.needs_hole else ""
        parts.append(f"wire {s.stock.wire_mm:.2f} mm{drill}")
    if s.standing_mm is not None:
        parts.append(f"the pin stands {s.standing_mm:.2f} mm")
    if s.tolerance:
        parts.append(f"allowed ±{s.tolerance.along_deg:.3f}° along and ±{s.tolerance.radial_mm:.2f} mm across")
    return ", ".join(parts)


def _without_repeats(words: Sequence[str]) -> list[str]:
    """Each sentence once, and none that stands inside another."""
    kept = list(dict.fromkeys(words))
    return [w for w in kept if not any(w != other and w in other for other in kept)]


def _beside(s: Station) -> str:
    lines = []
    if s.found is None:
        lines.append("no hole yet")
    if s.early_ms is not None and s.found is not None:
        lines.append(f"{abs(s.early_ms):.0f} ms {'early' if s.early_ms > 0 else 'late'}")
    elif s.found is not None:
        lines.append("beat not known")
    if s.outward_mm is not None and s.found is not None:
        lines.append(f"{abs(s.outward_mm):.3f} mm {'outside' if s.outward_mm > 0 else 'inside'} its track")
    if s.tolerance:
        lines.append(f"allowed ±{s.tolerance.along_mm:.3f} along, ±{s.tolerance.radial_mm:.2f} across")
    return "\n".join(lines)


def _pin_words(s: Station) -> str:
    if s.stock is None or Operation.SET not in s.operations:
        return ""
    lines = [f"wire {s.stock.wire_mm:.2f} mm"]
    if s.needs_hole:
        lines[0] += f", drill {s.stock.drill.name}"
        lines.append(s.stock.words)
        lines.append(f"{s.depth_mm:.2f} mm deep" if s.depth_mm is not None else "depth: measure the plate")
    if s.standing_mm is not None:
        lines.append(f"stands {s.standing_mm:.2f} mm")
    if s.wall:
        lines.append(f"wall {s.wall.wall_mm:.2f} mm to {s.wall.to}")
    return "\n".join(lines)


# ---- machines


def _machines(plan: Plan, face: FaceDividing) -> str:
    d = face.dividing
    way = WAY_WORDS[work_turns(face.side).value]
    head = (
        f"Dividing head {d.worm}:1 on the circle of {d.circle}: one hole is {d.hole_deg:.4f}°. Start with the stop "
        f"slot at zero, turn the plate {way} and always the same way. Worst error {d.worst_deg:.4f}° or "
        f"{worst_ms(d, plan.plate):.1f} ms. The step is counted from the place before. Two-axis table: x towards the "
        "stop slot, y up as the face is seen; go to the first pair, then rising to the second, so that both screws "
        "always push the same way."
    )
    rows = []
    for row in machine_rows(plan, face):
        s = row.setting
        rows.append(
            [
                str(row.station.number),
                f"{s.angle_deg:.3f}°",
                f"{s.turns} + {s.holes}",
                f"{s.step_turns} + {s.step_holes}",
                f"{s.error_deg:+.4f}°, {row.error_mm:+.4f} mm, {row.error_ms:+.1f} ms",
                str(row.table),
                f"{row.way.via_x_mm:.3f}, {row.way.via_y_mm:.3f}",
                f"{row.way.x_mm:.3f}, {row.way.y_mm:.3f}",
            ]
        )
    columns = ("no.", "angle", "turns + holes", "step", "error", "rotary table", "x, y first", "x, y then")
    table = _table(columns, "(auto, auto, auto, auto, 1fr, auto, auto, auto)", rows, size_pt=8.0)
    return f"== #{typst_text('Machine settings, ' + face.side.value + ' face')}\n#{typst_text(head)}\n\n{table}"


# ---- estimate


def _estimate(made: Estimate, history: Sequence[Mapping[str, Any]]) -> str:
    rows = [[line.what, _three(line.count, 1), _three(line.hours, 2), _three(line.cost, 2)] for line in (*made.lines,)]
    rows.append(["together", "", _three(made.hours, 2), _three(made.cost, 2)])
    sample = " Made with the sample rates that ship with the program: put your own into rates.toml."
    head = f"Each as least / expected / most. {made.words[0].upper() + made.words[1:]}.{sample}"
    table = _table(("what", "how often", "hours", made.currency), "(1fr, auto, auto, auto)", rows)
    past = ""
    if history:
        lines = [
            [
                str(h["at"])[:16].replace("T", " "),
                _three(h["hours"], 2),
                f"{_three(h['cost'], 2)} {h['currency']}",
                str(h["changed"]),
            ]
            for h in history
        ]
        past = f"\n\n=== #{typst_text('What was estimated when')}\n" + _table(
            ("when (UTC)", "hours", "cost", "what changed"), "(auto, auto, auto, 1fr)", lines
        )
    return f"== #{typst_text('Estimate')}\n#{typst_text(head)}\n\n{table}{past}"


def _three(values: Sequence[float], digits: int) -> str:
    """Least, expected and most; one number where they are the same."""
    texts = [f"{v:.{digits}f}" for v in values]
    if digits == 1:
        texts = [t.removesuffix(".0") for t in texts]
    return texts[0] if len(set(texts)) == 1 else " / ".join(texts)


def _table(heading: Iterable[str], columns: str, rows: Iterable[Sequence[str]], size_pt: float = 8.5) -> str:
    head = ", ".join(f"[#{typst_text(words)}]" for words in heading)
    body = ",\n".join(", ".join(_cell(cell) for cell in row) for row in rows)
    return f"#text({size_pt}pt)[#table(columns: {columns}, table.header({head}),\n{body})]"


def _cell(words: str) -> str:
    """A cell; line breaks in the words stay, and what is to be said in another language apart stands apart."""
    lines = ("".join(f"#{typst_text(part)}" for part in line.split(APART) if part) for line in words.split("\n"))
    return "[" + " #linebreak() ".join(lines) + "]"
