"""Matches as plain JSON and as words; and the step that leaves them in a job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from disc.library.index.tune_index import Index
from disc.library.records import Match
from disc.library.search.asked.query import NORMAL_QUARTER_S, Query
from disc.library.search.find_tunes import with_versions
from disc.library.search.parts import TunePart
from disc.results import IdentifyResult, MatchResult, PartResult
from disc.words import chance, counted

if TYPE_CHECKING:
    from disc.job import Job

# Fields of a match in `disc identify --json`, as agreed for it; a job keeps the displaced strikes and the group too.
SHOWN = (
    "file", "number", "title", "collection", "score", "probability", "transposition", "tempo_ratio", "from_bar",
    "to_bar", "agree", "absent", "extra",
)  # fmt: skip
# Unless said otherwise: chosen by hand while looking at development queries; not fitted.
LITTLE = 24  # agreeing notes beyond which a wrong tune is wrong, not unproven
LIKELY, POSSIBLE = 0.9, 0.5  # wording only; the probability itself is shown beside it


def matches_to_json(name: str, seconds: float, matches: list[Match], parts: Sequence[TunePart] = ()) -> dict[str, Any]:
    """One object for one input. absent: printed notes by index; extra: strikes by index (of a part: of its own).

    fit_as_well: how many tunes of the library fit about as well as the first, itself among them.
    """
    return {
        "input": name,
        "seconds": round(seconds, 4),
        "fit_as_well": matches[0].alike if matches else 0,
        "matches": _shown(matches),
        "parts": [
            {"from_turn": part.from_turn, "to_turn": part.to_turn, "matches": _shown(part.matches)} for part in parts
        ],
    }


def _shown(matches: Sequence[Match]) -> list[dict[str, Any]]:
    return [{field: match_to_json(match)[field] for field in SHOWN} for match in matches]


def part_lines(parts: Sequence[TunePart]) -> list[str]:
    """The tunes of a disc with several, one line each."""
    out = ["Several tunes, one after another:"] if parts else []
    for part in parts:
        best = part.matches[0]
        where = f"{100 * part.from_turn:.0f} to {100 * part.to_turn:.0f} % of the playing time"
        out.append(f"  {where}: {best.title!r} ({best.key}), {chance(best.probability)} certain")
    return out


def match_to_json(match: Match) -> dict[str, Any]:
    """One match as plain JSON material."""
    return {
        "file": match.key.file,
        "number": match.key.number,
        "title": match.title,
        "collection": match.collection,
        "score": match.score,
        "probability": match.probability,
        "transposition": match.transposition,
        "tempo_ratio": match.tempo_ratio,
        "from_bar": match.from_bar,
        "to_bar": match.to_bar,
        "agree": match.agree,
        "absent": list(match.absent),
        "displaced": list(match.displaced),
        "extra": list(match.extra),
        "group": match.group,
    }


def bars_that_differ(index: Index, match: Match) -> list[int]:
    """Printed bars in which a note is absent from the disc, or is not at its place; empty: none, or not made out."""
    tune = index.tune_of(match.key)
    if tune is None or match.alignment is None:
        return []
    notes = [*match.alignment.absent, *(pairing.note for pairing in match.alignment.displaced)]
    return sorted({int(index.bar[int(index.start[tune]) + note]) for note in notes})


def _part_kept(query: Query, part: TunePart) -> PartResult:
    """A part as a job keeps it."""
    first, span = float(query.onset_s[0]), float(query.onset_s[-1] - query.onset_s[0])
    best = part.matches[0]
    return PartResult(
        from_turn=part.from_turn,
        to_turn=part.to_turn,
        from_s=round(first + part.from_turn * span, 3),
        to_s=round(first + part.to_turn * span, 3),
        file=best.key.file,
        number=best.key.number,
        title=best.title,
        probability=best.probability,
    )


def verdict(matches: list[Match]) -> str:
    """The answer in one line."""
    if not matches:
        return "No tune of the library has anything in common with this disc."
    best = matches[0]
    if best.probability >= LIKELY:
        return f"This is {best.title!r} ({best.key}), {chance(best.probability)} certain."
    if best.probability >= POSSIBLE:
        return f"This may be {best.title!r} ({best.key}), {chance(best.probability)} certain."
    sure = chance(best.probability)
    if best.alike > 1 and (best.agree or 0) <= LITTLE:
        nearest = f"the nearest, {best.title!r} ({best.key}), is {sure} certain"
        return f"Too little to tell: {best.alike} tunes fit about as well; {nearest}."
    return f"Probably not in the library: the nearest, {best.title!r} ({best.key}), is {sure} certain."


def lines(matches: list[Match]) -> list[str]:
    """The ranked list; versions stand under the tune they are versions of."""
    out = [verdict(matches)]
    titles = {match.key: match.title for match in matches}
    for place, match in enumerate(with_versions(matches), start=1):
        out.append(f"{place:3d}  {chance(match.probability):>6s}  {match.title}  ({match.key}){_where(match)}")
        if match.versions:
            out.append("              other versions of it:")
        out += [f"                {titles[key]}  ({key})" for key in match.versions]
    return out


def _where(match: Match) -> str:
    """Where a match lies, as far as that was made out."""
    if match.agree is None:
        return ""
    words = f": bars {match.from_bar} to {match.to_bar}"
    if match.transposition is not None:
        words += f", {match.transposition:+.1f} semitones"
    if match.tempo_ratio is None:
        return f"{words}; {counted(match.agree, 'note agrees', 'notes agree')}"
    return (
        f"{words}, a quarter lasts {match.tempo_ratio * NORMAL_QUARTER_S:.2f} s; "
        f"{counted(match.agree, 'strike agrees', 'strikes agree')}, "
        f"{counted(len(match.absent), 'note')} absent, {len(match.displaced)} displaced, "
        f"{counted(len(match.extra), 'strike')} not in the print"
    )


def keep_in_job(
    job: Job, index: Index, query: Query, matches: list[Match], parts: Sequence[TunePart] = (),
    staves: tuple[str, str] | None = None,
) -> list[str]:  # fmt: skip
    """Leave the matches in the job, and the disc over the print as a score; returns the files made.

    Of a disc with several tunes each part is kept: where it lies, and what it is. staves: what the score's are called.
    """
    from disc.library.over_print import STAVES, over_print

    made: list[str] = []
    with job.step("identify") as stage:
        found = [
            MatchResult(**match_to_json(match), differs_in_bars=bars_that_differ(index, match)) for match in matches
        ]
        kept = [_part_kept(query, part) for part in parts]
        job.content.keep(IdentifyResult(matches=found, verdict=verdict(matches), parts=kept))
        if matches and matches[0].alignment is not None:
            svg, pdf = over_print(query, index, matches[0], staves or STAVES)
            stage.write_bytes("out/identify.svg", svg)
            stage.write_bytes("out/identify.pdf", pdf)
            made = ["out/identify.svg", "out/identify.pdf"]
    return made
