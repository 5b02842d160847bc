"""The offer as a paper: its sentences in the reader's language, set on A4."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from disc.locale.catalogue import Reader, mark
from disc.offer.make_offer import Amounts, Offer
from disc.offer.workshop import Workshop
from disc.typeset import pdf_from_typst, typst_text

# The estimate's words for its lines (repin/work/estimate.py), as a customer reads them.
LINES: dict[str, str] = {
    "straighten": mark("Straighten bent pins"),
    "pull": mark("Take out stubs and useless pins"),
    "plug": mark("Close holes"),
    "drill": mark("Drill holes"),
    "set": mark("Set new pins"),
    "shorten": mark("Shorten pins"),
    "look and decide": mark("Examine doubtful places under the glass"),
    "record before the work": mark("Record the state before the work"),
    "open, and disc off its arbor": mark("Let the springs down, open the movement, take the disc off"),
    "set up a face for drilling": mark("Set up a face for drilling"),
    "assemble, play and time": mark("Assemble, play and time"),
    "wire": mark("Steel wire"),
    "drills": mark("Drills"),
}
NOT_INCLUDED: tuple[str, ...] = (
    mark("Work on the comb, its dampers and its lead, on springs, gearing and case."),
    mark("Parts and work not named above; carriage and insurance."),
)
# What workshop.toml says before anybody wrote into it.
SAMPLE_WORDS = (mark("Your workshop"), mark("Street and number"), mark("Postcode and town"))
STYLE = """
#set page(paper: "a4", margin: (x: 22mm, top: 20mm, bottom: 22mm), footer: context text(size: 8.5pt, fill: luma(70))[
  #{footer} #h(1fr) #counter(page).display("1 / 1", both: true)])
#set text(size: 10pt, lang: "{language}", hyphenate: false)
#set par(leading: 0.6em)
#set document(date: none, title: {title})
#set table(stroke: none, inset: (x: 1.5mm, y: 1.2mm))
#show heading.where(level: 1): it => block(above: 8mm, below: 4mm, text(size: 17pt, weight: 600, it.body))
#show heading.where(level: 2): it => block(above: 6mm, below: 2.5mm, text(size: 11.5pt, weight: 600, it.body))
"""


def offer_pdf(
    offer: Offer, number: int, workshop: Workshop, sheet: Mapping[str, str], disc_name: str, t: Reader
) -> bytes:
    """The paper. sheet: the object's sheet; disc_name: the job's name, where the object has none of its own."""
    title = t("Offer no. {number}", number=number)
    workshop = sample_in(workshop, t) if workshop.sample else workshop
    style = STYLE.replace("{footer}", typst_text(f"{workshop.name}, {title}")).replace("{title}", typst_text(title))
    parts = [style.replace("{language}", t.language.value), _head(workshop, sheet)]
    parts.append(f"= #{typst_text(title)}")
    if offer.draft:
        parts.append(_strong(t("Draft: made with sample rates or sample data. Not to be sent.")))
    parts.append(_words(_opening(offer, sheet, disc_name, t)))
    parts += [f"== #{typst_text(t('Work'))}", _work(offer, t), _sums(offer, workshop, t)]
    parts += _section(t("What could change it"), what_could_change(offer, t))
    parts += _section(t("Not included"), [*(t(words) for words in NOT_INCLUDED), *workshop.not_included])
    parts += _section(t("Conditions"), [_validity(offer, t), *workshop.conditions])
    parts.append(_signatures(workshop, t))
    return pdf_from_typst("\n\n".join(parts))


def sample_in(workshop: Workshop, t: Reader) -> Workshop:
    """The shipped sample's words in the customer's language; what a person changed in it stays."""
    said = {words: t(words) for words in SAMPLE_WORDS}
    address = tuple(said.get(line, line) for line in workshop.address)
    return workshop.model_copy(update={"name": said.get(workshop.name, workshop.name), "address": address})


def what_could_change(offer: Offer, t: Reader) -> list[str]:
    """What the amounts rest on and may not hold, a sentence each; never empty."""
    words = []
    if offer.in_doubt:
        words.append(
            t.plural(
                "{n} place is in doubt: the least leaves it as it is, the most works on it.",
                "{n} places are in doubt: the least leaves them as they are, the most works on all of them.",
                offer.in_doubt,
            )
        )
    if offer.may_break:
        words.append(
            t.plural(
                "{n} pin may break when it is straightened; the most sets a new one.",
                "{n} pins may break when they are straightened; the most sets new ones.",
                offer.may_break,
            )
        )
    if not offer.thickness_known:
        words.append(t("The plate's thickness was not measured yet."))
    if not offer.checked:
        words.append(t("The disc was not checked for faults yet; empty holes are counted as in doubt."))
    words.append(t("What shows only when the movement is open is told before any work on it begins."))
    return words


def _opening(offer: Offer, sheet: Mapping[str, str], disc_name: str, t: Reader) -> str:
    name = sheet.get("name", disc_name)
    number = f" ({sheet['number']})" if "number" in sheet else ""
    return t("{date}. For the pinned disc of: {object}.", date=t.date(offer.made), object=f"{name}{number}")


def _validity(offer: Offer, t: Reader) -> str:
    return t("This offer holds until {date}.", date=t.date(offer.valid_until))


def _head(workshop: Workshop, sheet: Mapping[str, str]) -> str:
    own = [workshop.name, *workshop.address, workshop.phone, workshop.email, workshop.tax_number]
    theirs = [sheet.get("customer", sheet.get("owner", "")), *sheet.get("customer_address", "").split(",")]
    return f"#grid(columns: (1fr, auto), gutter: 10mm, [{_lines(theirs)}], align(right)[{_lines(own)}])"


def _lines(words: Sequence[str]) -> str:
    return " #linebreak() ".join(f"#{typst_text(line.strip())}" for line in words if line.strip())


def _work(offer: Offer, t: Reader) -> str:
    rows = []
    for line in offer.lines:
        count = t.number(line.count, 0 if abs(line.count - round(line.count)) < 0.05 else 1)
        hours = t.number(line.hours, 2) if line.hours else ""
        rows.append((t(LINES.get(line.what, line.what)), count, hours, t.money(line.amounts[1], offer.currency)))
    heading = (t("Work"), t("How often"), t("Hours"), t("Amount"))
    return _table(heading, rows)


def _sums(offer: Offer, workshop: Workshop, t: Reader) -> str:
    rows = [(t("Sum"), _range(offer.net, offer, t), t.money(offer.net[1], offer.currency))]
    if offer.rebate[2]:
        words = t("Rebate, {percent} %", percent=t.number(workshop.rebate_percent, 1))
        rows.append((words, _range(offer.rebate, offer, t), t.money(-offer.rebate[1], offer.currency)))
    if offer.tax[2]:
        words = t("{tax}, {percent} %", tax=workshop.tax_name or t("Tax"), percent=t.number(workshop.tax_percent, 1))
        rows.append((words, _range(offer.tax, offer, t), t.money(offer.tax[1], offer.currency)))
    rows.append((t("Total, expected"), _range(offer.total, offer, t), t.money(offer.total[1], offer.currency)))
    cells = ", ".join(
        f"[{'*' if last else ''}#{typst_text(cell)}{'*' if last else ''}]"
        for row in rows
        for last in [row is rows[-1]]
        for cell in row
    )
    return (
        "#block(breakable: false)[#table(columns: (1fr, auto, auto), align: (left, right, right), "
        f"table.hline(stroke: 0.5pt), {cells}, table.hline(stroke: 0.5pt))]"
    )


def _range(amounts: Amounts, offer: Offer, t: Reader) -> str:
    least, _, most = amounts
    if least == most:
        return ""
    return t("{least} to {most}", least=t.money(least, offer.currency), most=t.money(most, offer.currency))


def _table(heading: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = ", ".join(f"[*#{typst_text(cell)}*]" for cell in heading)
    cells = ", ".join(f"[#{typst_text(cell)}]" for row in rows for cell in row)
    align = "(left, right, right, right)"
    return (
        f"#table(columns: (1fr, auto, auto, auto), align: {align}, "
        f"table.header({head}), table.hline(stroke: 0.5pt), {cells})"
    )


def _section(heading: str, items: Sequence[str]) -> list[str]:
    return [f"== #{typst_text(heading)}", "\n".join(f"- #{typst_text(item)}" for item in items)]


def _signatures(workshop: Workshop, t: Reader) -> str:
    fields = [(t("Place, date, signature of the workshop")), (t("Ordered: place, date, signature of the customer"))]
    cells = ", ".join(
        f"[#line(length: 100%, stroke: 0.6pt)\n#text(size: 8.5pt)[#{typst_text(words)}]]" for words in fields
    )
    return f"#block(breakable: false, above: 22mm)[#grid(columns: (1fr, 1fr), gutter: 12mm, {cells})]"


def _words(text: str) -> str:
    return f"#block[#{typst_text(text)}]"


def _strong(text: str) -> str:
    return f"#block(stroke: 0.8pt, inset: 5pt)[*#{typst_text(text)}*]"
