"""What was planned and what it costs, in figures: for the command's words, design.json and the job."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from itertools import pairwise
from typing import Any

from disc.comb.bar import return_time_s
from disc.design.arrange.task import is_kept_first
from disc.design.arranged import NoteChange, fates, moved_words
from disc.design.loudness import loudness_of
from disc.design.names import says_something
from disc.design.plan import Design
from disc.design.two_tunes import TwoTunes
from disc.frame import FULL_TURN_DEG
from disc.records import Strike
from disc.tune.score.records import ScoreIn
from disc.words import plain

ROUNDING_S = 1e-5  # chosen: the pin table keeps 0.0001 degrees, which is some microseconds of a turn


def _tempo_because(design: Design) -> str:
    """Why the tempo is not the written one."""
    settings, turn_s = design.settings, design.timing.revolution_s
    if design.kept is not None:
        return "the old disc's pins set the tempo"
    if abs(turn_s - settings.shortest_turn_s) < 0.01:
        return f"a turn of a movement takes {turn_s:.0f} s at least, and the tune is shorter; --times 2 plays it twice"
    if abs(turn_s - settings.longest_turn_s) < 0.01:
        return f"a turn of a movement takes {turn_s:.0f} s at most, and the tune is longer"
    if 0.95 <= 1 / design.timing.tempo_ratio <= 1.0:
        return "pins of the two faces fall clear of each other so"
    return f"the tune is fitted to a turn of {turn_s:.1f} s"


def _kept_first(design: Design) -> dict[str, Any] | None:
    """How much is kept of the bars that go before all others; None where none do."""
    settings, score = design.settings, design.score
    if not settings.keep_bars:
        return None
    lost = {i for i, _ in design.arrangement.lost}
    inside = [i for i, note in enumerate(score.notes) if is_kept_first(score, note.onset_quarter, settings)]
    words = ", ".join(f"{a}-{b}" if a != b else str(a) for a, b in settings.keep_bars)
    return {"bars": words, "notes": len(inside), "kept": sum(i not in lost for i in inside)}


def damping_of(strikes: Sequence[Strike], revolution_s: float) -> dict[str, Any] | None:
    """The tooth struck again soonest against what its damper needs, seconds; None where no tooth is struck twice.

    too_soon: how many times a tooth is struck again before its damper can have touched: only by pins of an old disc.
    """
    by_tooth: dict[int, list[Strike]] = {}
    for strike in sorted(strikes, key=lambda one: one.onset_s):
        by_tooth.setdefault(strike.tooth, []).append(strike)
    gaps = [
        ((after.onset_s - before.onset_s) % revolution_s, return_time_s(before.pitch), tooth)
        for tooth, members in by_tooth.items()
        for before, after in pairwise([*members, members[0]])
        if len(members) > 1
    ]
    if not gaps:
        return None
    again_s, needs_s, tooth = min(gaps, key=lambda gap: gap[0] / gap[1])
    too_soon = sum(gap_s < need_s - ROUNDING_S for gap_s, need_s, _ in gaps)
    return {"tooth": tooth, "again_s": round(again_s, 3), "needs_s": round(needs_s, 3), "too_soon": too_soon}


def _part_words(score: ScoreIn) -> str | None:
    """The part taken for the tune, as a person may name it; None where the file has but one."""
    number = score.melody_part
    if number is None:
        return None
    name = score.parts[number].name if number < len(score.parts) else ""
    return f"{number + 1} ({name})" if says_something(name) else str(number + 1)


def summary_of(design: Design) -> dict[str, Any]:
    """What was planned and what it costs, as plain JSON."""
    found, timing = design.arrangement, design.timing
    notes = fates(design)
    counts: dict[str, int] = {change.value: sum(f.change is change for f in notes) for change in NoteChange}
    reasons: dict[str, int] = {}
    for fate in notes:
        if fate.why is not None:
            reasons[fate.why.value] = reasons.get(fate.why.value, 0) + 1
    return plain(
        {
            "title": design.score.title,
            "remarks": design.score.remarks,
            "melody_part": _part_words(design.score),
            "notes": len(notes),
            "pins": len(design.pins),
            "new_pins": len(design.pins) - (len(design.kept.pins) if design.kept else 0),
            "in_old_holes": len(design.kept.reused) if design.kept else 0,
            "melody": found.share.melody,
            "melody_kept": found.share.melody_kept,
            "notes_by_change": counts,
            "left_out_because": reasons,
            "transposition": found.transposition,
            "key": moved_words(design.score.key, found.transposition),
            "prefer": design.settings.prefer,
            "kept_first": _kept_first(design),
            "damping": damping_of(design.strikes, timing.revolution_s),
            "loudness": loudness_of(design.pins, design.settings),
            "proven_optimal": found.proven,
            "gap": round(found.gap, 4),
            "value": found.value,
            "revolution_s": round(timing.revolution_s, 3),
            "quarter_s": round(timing.quarter_s, 5),
            "tempo_against_written": round(timing.tempo_ratio, 3),
            "tempo_was_given": timing.tempo_given,
            "tempo_because": _tempo_because(design),
            "turn_used": round(timing.span_quarter * timing.deg_per_quarter / FULL_TURN_DEG, 3),
            "comb_offset_cents": round(100 * design.playing.offset, 1),
            "teeth_left_out": design.playing.left_out,
            "other_transpositions": [
                asdict(share) | {"lost": share.lost, "key": moved_words(design.score.key, share.transposition)}
                for share in found.others
            ],
            "old_pins_without_a_note": design.kept.unexplained if design.kept else [],
        }
    )


def summary_of_two(planned: TwoTunes) -> dict[str, Any]:
    """The same of two tunes on one disc: of the disc as a whole, and each tune's own under "tunes"."""
    tunes = [summary_of(part) for part in planned.parts]
    first, second = planned.parts
    pins = len(first.pins) + len(second.pins)
    start_deg = min(strike.turn_deg for strike in first.strikes)
    end_deg = max(strike.turn_deg for strike in second.strikes)
    gap = max(0.0, (planned.bound - planned.value) / max(1, planned.value))
    return {
        "title": " / ".join(tune["title"] for tune in tunes),
        "notes": sum(tune["notes"] for tune in tunes),
        "pins": pins,
        "new_pins": pins,
        "melody": sum(tune["melody"] for tune in tunes),
        "melody_kept": sum(tune["melody_kept"] for tune in tunes),
        "notes_by_change": _added(tune["notes_by_change"] for tune in tunes),
        "left_out_because": _added(tune["left_out_because"] for tune in tunes),
        "loudness": plain(loudness_of((*first.pins, *second.pins), first.settings)),
        "damping": plain(damping_of((*first.strikes, *second.strikes), first.plate.revolution_s)),
        "proven_optimal": planned.value >= planned.bound,
        "gap": round(gap, 4),
        "value": planned.value,
        "revolution_s": tunes[0]["revolution_s"],
        "turn_used": round((end_deg - start_deg) / FULL_TURN_DEG, 3),
        "comb_offset_cents": tunes[0]["comb_offset_cents"],
        "teeth_left_out": tunes[0]["teeth_left_out"],
        "tunes": tunes,
    }


def _added(tables: Iterable[dict[str, int]]) -> dict[str, int]:
    """Counts by name, added up over tables."""
    total: dict[str, int] = {}
    for table in tables:
        for name, count in table.items():
            total[name] = total.get(name, 0) + count
    return total
