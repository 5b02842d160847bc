"""The report's parts about the music: the comb and its pitches, the tune engraved and identified."""

from __future__ import annotations

from disc.comb.bar import frequency_hz
from disc.job import Job
from disc.listen.comb.plucked_store import PLUCKED_FILE
from disc.listen.comb.tuning_table import SCALES, tuning_rows
from disc.locale.catalogue import Language
from disc.locale.said import note_in
from disc.pitch_names import cents_off, note_name
from disc.records import Comb, Tooth
from disc.report.blocks import Block, Paragraph, PictureBlock, ReportSection, table
from disc.results import IdentifyResult, MatchResult, PartResult
from disc.tables import read_text
from disc.words import chance, counted

NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
MOST_SCORE_PAGES = 4  # chosen by hand
# Unless said otherwise: laid out by eye on printed pages.
# Tunes listed beside the best: at most so many in all, none less likely than this.
MOST_MATCHES = 3
LEAST_RIVAL = 0.01  # probability of a tune that is named beside the likeliest; chosen by hand
MOST_BARS_NAMED = 12  # in one sentence; the rest is counted. Chosen by hand
SCORE_FILE = "out/tune.musicxml"
# The first that is there; with its words.
SCORES = {
    SCORE_FILE: "The tune as written",
    "out/marked-score.musicxml": "The tune as arranged; blue: another octave, orange: nearest pitch, red: left out",
}


def comb_part(job: Job, language: Language = Language.EN) -> ReportSection | None:
    """The comb's table, its notes named as the reader names them."""
    if not job.has("comb.csv"):
        return None
    comb = job.comb()
    rows = [_tooth_row(tooth, language) for tooth in comb.teeth]
    heading = ("tooth", "face", "tip r mm", "angle deg", "note", "Hz", "cents", "condition")
    blocks: list[Block] = [table(heading, rows, right=(0, 2, 3, 5, 6), halved=True)]
    if comb.draft:
        blocks.insert(
            0, Paragraph("A draft made from the disc's tracks: the comb itself was not measured.", strong=True)
        )
    blocks.append(Paragraph("Cents are counted from equal temperament at A4 = 440 Hz (ISO 16).", small=True))
    return ReportSection("comb", (*blocks, *_tuning(job, comb)))


def _tuning(job: Job, comb: Comb) -> list[Block]:
    """Where each tooth stands between the steps of three scales and beside its twin, and what tuning it would take."""
    # A draft has pitches of its own only where its teeth were plucked.
    is_heard = not comb.draft or job.has(PLUCKED_FILE)
    found = None if not is_heard else tuning_rows({tooth.number: tooth.pitch for tooth in comb.teeth})
    if found is None:
        return []
    rows = [
        (
            row["tooth"], *(_signed(row[name]) for name in SCALES), row["twin"],
            None if row["twin_cents"] is None else _signed(row["twin_cents"]), f"{row['tip_mass_percent']:+.1f}",
        )
        for row in found["teeth"]
    ]  # fmt: skip
    heading = ("tooth", *SCALES, "of one note with", "cents from it", "mass at the tip, %")
    sought = ", ".join(f"{name} {found['a_hz'][name]:.1f} Hz" for name in SCALES)
    return [
        Paragraph("How the comb is tuned: cents from the nearest step of three scales", strong=True),
        table(heading, rows, right=tuple(range(7))),
        Paragraph(
            f"Each scale with the A that suits the comb best: {sought}. Mean-tone: quarter comma (Aaron, 1523); "
            "well-tempered: Werckmeister III (1691). The last column is the share of the mass swinging at the tip that "
            "would have to be added (+) or filed off (-) to reach the equal step; where a lead hangs, that is most of "
            "it. Old tuning is part of the object: leave it as it is.",
            small=True,
        ),
    ]


def _signed(cents: float) -> str:
    """Whole cents with their sign; what rounds to nothing has none."""
    whole = round(cents)
    return f"{whole:+d}" if whole else "0"


def _tooth_row(tooth: Tooth, language: Language) -> tuple[object, ...]:
    angle = None if tooth.tip_theta_deg is None else f"{tooth.tip_theta_deg:.2f}"
    start = (tooth.number, tooth.side.value, f"{tooth.tip_r_mm:.2f}", angle)
    condition = None if tooth.condition is None else tooth.condition.value
    if tooth.pitch is None:
        return (*start, None, None, None, condition)
    hz, cents = frequency_hz(tooth.pitch), cents_off(tooth.pitch)
    return (*start, note_in(note_name(tooth.pitch), language), f"{hz:.1f}", _signed(cents), condition)


def tune_part(job: Job) -> ReportSection | None:
    """The tune, what it is in words, which tune it is with the evidence, and the score."""
    blocks: list[Block] = [*_tune_words(job), *_identified(job), *_score(job)]
    return ReportSection("tune", tuple(blocks)) if blocks else None


def _tune_words(job: Job) -> list[Block]:
    from disc.tune.store import load_tune

    tune = load_tune(job)
    if tune is None:
        return []
    source = "Read from the disc's strikes." if job.has(SCORE_FILE) else "As laid out on the disc."
    sharps = tune.key.fifths
    sign = ("sharp" if sharps > 0 else "flat") + ("s" if abs(sharps) > 1 else "")
    signature = "no sharps or flats" if sharps == 0 else f"{abs(sharps)} {sign}"
    return [
        Paragraph(
            f"{counted(len(tune.notes), 'note')}, {tune.metre.beats}/{tune.metre.unit}, "
            f"{NAMES[tune.key.tonic]} {tune.key.mode} ({signature}), a quarter lasts {tune.quarter_s:.2f} s. {source}"
        )
    ]


def _identified(job: Job) -> list[Block]:
    found = job.content.result(IdentifyResult)
    if found is None or not found.matches:
        return []
    best, *others = found.matches
    rivals = [match for match in others[: MOST_MATCHES - 1] if (match.probability or 0.0) >= LEAST_RIVAL]
    heading = ("title", "collection", "file, number", "probability", "strikes that agree")
    return [
        Paragraph(_match_words(best)),
        *_part_words(found.parts),
        table(heading, [_match_row(match) for match in (best, *rivals)], right=(3, 4)),
    ]


def _match_words(match: MatchResult) -> str:
    """What the best match rests on."""
    moved = round(match.transposition or 0.0)
    key = (
        "at the print's pitch"
        if not moved
        else f"{counted(abs(moved), 'semitone')} {'higher' if moved > 0 else 'lower'}"
    )
    return (
        f"Looked up in the library, it is “{_title(match.title)}” (probability "
        f"{_chance(match.probability)}): bars {match.from_bar} to {match.to_bar} of the print, {key}; "
        f"strikes that agree: {_count(match.agree)}; notes of the print that are absent: {len(match.absent)}, "
        f"displaced: {len(match.displaced)}; strikes that are not in the print: {len(match.extra)}."
        + _bar_words(match.differs_in_bars)
    )


def _bar_words(bars: list[int]) -> str:
    """Where disc and print differ, by the print's bars."""
    if not bars:
        return ""
    if len(bars) > MOST_BARS_NAMED:
        return f" Disc and print differ in {len(bars)} bars."
    return f" Disc and print differ in bar{'s' if len(bars) > 1 else ''} {', '.join(map(str, bars))} of the print."


def _title(words: str) -> str:
    """A title within a sentence: what looks like a sentence's end within it does not end a line either."""
    return words.strip().rstrip(".").replace(". ", ".\u00a0").replace("; ", ";\u00a0")


def _part_words(parts: list[PartResult]) -> list[Block]:
    """The tunes of a disc with several."""
    if len(parts) < 2:
        return []
    named = "; ".join(
        f"{100 * part.from_turn:.0f} to {100 * part.to_turn:.0f} % of the playing time, "
        f"“{_title(part.title)}” (probability {_chance(part.probability)})"
        for part in parts
    )
    return [Paragraph(f"Several tunes, one after another: {named}.")]


def _match_row(match: MatchResult) -> tuple[object, ...]:
    where = f"{match.file}, {match.number}"
    return (match.title, match.collection, where, _chance(match.probability), _count(match.agree))


def _score(job: Job) -> list[Block]:
    """The score engraved anew for the report's own page: as wide as its words, as tall as the music."""
    from disc.tune.write.engrave import engrave

    found = next((name for name in SCORES if job.has(name)), None)
    if found is None:
        return []
    pages = engrave(read_text(job.path(found), "score"), fitted=True).pages[:MOST_SCORE_PAGES]
    many = len(pages) > 1
    return [
        PictureBlock(page.encode(), "svg", f"{SCORES[found]}, page {n}" if many else SCORES[found])
        for n, page in enumerate(pages, start=1)
    ]


def _chance(probability: float | None) -> str:
    return "not known" if probability is None else chance(probability)


def _count(number: int | None) -> str:
    return "not known" if number is None else str(number)
