"""A page of the whole collection to look through in any browser: it stands by itself and asks nothing of a network.

In: the rows, what discs have in common, and the pictures that picture.py drew. Out: one HTML text beside its pictures.
What discs are called and what was written about them are words of others: all of it is escaped.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from html import escape
from pathlib import Path
from urllib.parse import quote

from disc.collect.rows import DONE, DiscRow
from disc.collect.same_disc import together
from disc.locale.catalogue import Language, Reader, mark, reader
from disc.locale.said import said_in
from disc.records import Condition
from disc.words import chance

STYLE = """
:root{color-scheme:light dark}body{font:16px/1.45 Georgia,'Times New Roman',serif;margin:1.5rem auto;max-width:80rem;
padding:0 1rem}main{display:grid;grid-template-columns:repeat(auto-fill,minmax(19rem,1fr));gap:1rem;align-items:start}
article{border:1px solid #8a7a4a;border-radius:6px;padding:.7rem;overflow-wrap:anywhere}
article h2{font-size:1.1rem;margin:.1rem 0 .4rem}
article img{width:100%;aspect-ratio:2;object-fit:contain;background:#fffdf8}
article p{margin:.3rem 0}.small{font-size:.88rem}.care{border-left:4px solid #9b1c31;padding-left:.5rem}
input,select{font:inherit;padding:.4rem;min-height:44px}form{display:flex;flex-wrap:wrap;gap:.8rem;margin:1rem 0}
[hidden]{display:none}
"""
# Finding and sorting; nothing is loaded and nothing sent.
SCRIPT = """
const all=[...document.querySelectorAll('article')],find=document.getElementById('find'),
order=document.getElementById('order'),main=document.querySelector('main'),count=document.getElementById('count');
function show(){let n=0;for(const a of all){a.hidden=!a.textContent.toLowerCase().includes(find.value.toLowerCase());
n+=!a.hidden}count.textContent=n}
order.onchange=()=>{const k=order.value;all.sort((a,b)=>k==='name'?a.dataset.name.localeCompare(b.dataset.name):
b.dataset[k]-a.dataset[k]);main.append(...all)};find.oninput=show;document.querySelector('form').onsubmit=()=>false;
"""
# Before these signs no line breaks: the per cent sign's in every language, the others' in French, which parts them.
_SIGN = re.compile(r" (?=[%:;!?](?:[\s<.,)]|$))")
WHY = {
    "the same photograph": mark("the same photograph"),
    "the same holes, and the same pins damaged": mark("the same holes, and the same pins damaged"),
    "the same holes, other pins damaged": mark("the same holes, other pins damaged"),
}
# What stands in the table's columns, as it is called on the page.
COLUMNS = {
    "diameter_mm": mark("diameter"),
    "pins_upper": mark("pins of the upper face"),
    "pins_lower": mark("pins of the lower face"),
    "teeth": mark("teeth"),
    "inner_r_mm": mark("innermost track"),
    "outer_r_mm": mark("outermost track"),
    "track_gap_mm": mark("distance of the tracks"),
    "pin_diameter_mm": mark("the pins' thickness"),
    "tune_title": mark("tune"),
    "maker": mark("maker"),
    "number": mark("number"),
}


def collection_page(
    home: Path, rows: Sequence[DiscRow], twice: Sequence[dict[str, object]], language: Language = Language.EN
) -> str:
    """The page's HTML; home: the folder it will stand in, from which the links to the jobs are counted."""
    t = reader(language)
    pairs = together(twice)
    cards = _SIGN.sub("\u00a0", "".join(_card(home, row, pairs.get(row.name, []), t) for row in rows))
    title = t("The collection")
    orders = (("name", t("by name")), ("damaged", t("most damage first")), ("pins", t("most pins first")))
    options = "".join(f'<option value="{key}">{escape(words)}</option>' for key, words in orders)
    return (
        f'<!doctype html><html lang="{language.value}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body><h1>{escape(title)}</h1>"
        f'<form><label>{escape(t("Find"))} <input id="find" type="search"></label>'
        f'<label>{escape(t("Order"))} <select id="order">{options}</select></label>'
        f'<p><span id="count">{len(rows)}</span> {escape(t("discs"))}</p></form>'
        f"<main>{cards}</main><script>{SCRIPT}</script></body></html>\n"
    )


def _card(home: Path, row: DiscRow, pairs: Sequence[dict[str, object]], t: Reader) -> str:
    damaged = sum(getattr(row, c.value) or 0 for c in (Condition.BENT, Condition.STUB, Condition.MISSING))
    pins = (row.pins_upper or 0) + (row.pins_lower or 0)
    parts = [f"<h2>{escape(row.name)}</h2>"]
    if row.picture:
        parts.append(
            f'<img loading="lazy" src="{quote(row.picture)}" alt="{escape(t("Both faces of {name}", name=row.name))}">'
        )
    if row.status != DONE:
        parts.append(f'<p class="care">{escape(t("Not done: {reason}", reason=_reason(row, t)))}</p>')
    else:
        parts += [f"<p>{escape(words)}</p>" for words in (_made(row, t), _tune(row, t), _condition(row, t)) if words]
        parts += [f'<p class="small">{escape(words)}</p>' for words in (_size(row, t), _empty(row, t)) if words]
    parts += [f'<p class="care">{escape(_twice(row.name, pair, t))}</p>' for pair in pairs]
    parts.append(f'<p class="small">{_links(home, Path(row.job), t)}</p>')
    order = f'data-name="{escape(row.name)}" data-damaged="{damaged}" data-pins="{pins}"'
    return f"<article {order}>{''.join(parts)}</article>"


def _reason(row: DiscRow, t: Reader) -> str:
    """Why a disc failed; the file it is about stands first, as it is called."""
    place, colon, words = row.reason.partition(": ")
    said = said_in(t.language)
    return f"{place}{said.joint(colon)}{said(words)}" if colon else said(row.reason)


def _made(row: DiscRow, t: Reader) -> str:
    number = row.number or ""
    bare = number[:1].isdigit()  # "No 12" and "Inv. 7" say themselves what they are
    words = [row.maker or "", t("no. {number}", number=number) if bare else number]
    return ", ".join(word for word in words if word)


def _tune(row: DiscRow, t: Reader) -> str:
    if not row.tune_title:
        return ""
    if row.tune_probability is None:
        return t("Tune: {title}", title=row.tune_title)
    return t("Tune: {title} ({p} sure)", title=row.tune_title, p=chance(row.tune_probability))


def _condition(row: DiscRow, t: Reader) -> str:
    said = (
        (row.sound, t.plural("{n} sound pin", "{n} sound pins", row.sound or 0)),
        (row.bent, t.plural("{n} bent pin", "{n} bent pins", row.bent or 0)),
        (row.stub, t.plural("{n} stub of a pin", "{n} stubs of pins", row.stub or 0)),
        (row.missing, t.plural("{n} missing pin", "{n} missing pins", row.missing or 0)),
        (row.extra, t.plural("{n} pin too many", "{n} pins too many", row.extra or 0)),
    )
    return ", ".join(words for count, words in said if count)


def _size(row: DiscRow, t: Reader) -> str:
    words = [t("diameter {mm} mm", mm=t.number(row.diameter_mm, 1))] if row.diameter_mm is not None else []
    for count, said in ((row.pins_upper, t("upper face: {n}")), (row.pins_lower, t("lower face: {n}"))):
        words += [said.format(n=count)] if count is not None else []
    return ", ".join([*words, *([t("{n} teeth", n=row.teeth)] if row.teeth is not None else [])])


def _empty(row: DiscRow, t: Reader) -> str:
    """What is not known of the disc and why, in the page's language."""
    said = []
    for names, why in (part.split(": ", 1) for part in row.empty.split("; ") if ": " in part):
        columns = [t(COLUMNS[name]) for name in names.split(", ") if name in COLUMNS]
        if columns:
            said.append(t("Not known: {what} ({why}).", what=t.listed(columns), why=t(why)))
    return " ".join(said)


def _twice(name: str, pair: dict[str, object], t: Reader) -> str:
    names = [str(one) for one in pair["discs"]]  # type: ignore[attr-defined]
    other = next((one for one in names if one != name), name)
    words = t("Perhaps the same disc as {other}: {why}.", other=other, why=t(WHY[str(pair["why"])]))
    apart = pair["apart_mm"]
    return words + (f" {t('The holes lie {mm} mm apart.', mm=t.number(apart, 2))}" if isinstance(apart, float) else "")


def _links(home: Path, job: Path, t: Reader) -> str:
    """The job's folder and its report, as seen from the page."""

    def link(path: Path, words: str) -> str:
        return f'<a href="{quote(Path(os.path.relpath(path, home)).as_posix())}">{escape(words)}</a>'

    links = [link(job, t("folder"))] if job.is_dir() else []
    report = job / "out" / "report.html"
    return " · ".join([*links, *([link(report, t("report"))] if report.is_file() else [])])
