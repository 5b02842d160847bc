"""A known tune for the check: from a score file to the library's record, and laid over the disc by the library."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.check.music.repeats import Heard
from disc.library.records import TICKS_PER_QUARTER, Alignment, ReferenceTune, TuneKey
from disc.library.search.align import align
from disc.records import Comb
from disc.tune.score.records import ScoreIn

LEAST_AGREEING = 8  # notes; fewer agree with any tune
# Of the printed notes within what the disc plays, so many must be found for the tune to be that of the disc at all.
LEAST_SHARE = 0.6


def reference_of_score(score: ScoreIn, file: str, number: int = 1) -> ReferenceTune:
    """A score read from a file as a reference, repeats played out."""
    order = sorted(score.notes, key=lambda note: (note.onset_quarter, note.pitch))
    first = min((bar.start_quarter for bar in score.bars), default=order[0].onset_quarter)
    bars = [next((b.number for b in reversed(score.bars) if b.start_quarter <= n.onset_quarter), 0) for n in order]
    return ReferenceTune(
        TuneKey(file, number),
        score.title,
        "",
        np.array([round((n.onset_quarter - first) * TICKS_PER_QUARTER) for n in order], dtype=np.int64),
        np.array([round(n.duration_quarter * TICKS_PER_QUARTER) for n in order], dtype=np.int64),
        np.array([n.pitch for n in order], dtype=np.int64),
        np.array(bars, dtype=np.int64),
        (score.metre.beats, score.metre.unit),
    )


def best_of(heard: Heard, comb: Comb, references: Sequence[ReferenceTune]) -> tuple[ReferenceTune, Alignment] | None:
    """Of several tunes (those of one file) the one that lies best on the disc; None if none is the disc's tune."""
    pitch_of = {tooth.number: tooth.pitch for tooth in comb.teeth}
    pitch = np.array([pitch_of[int(tooth)] for tooth in heard.tooth], dtype=float)
    laid = [(tune, align(heard.t_s, pitch, tune)) for tune in references if tune.pitch.size >= LEAST_AGREEING]
    fitting = [(tune, found) for tune, found in laid if _is_this_tune(found)]
    return max(fitting, key=lambda pair: pair[1].score, default=None)


def _is_this_tune(found: Alignment) -> bool:
    agree = len(found.agree)
    return agree >= LEAST_AGREEING and agree >= LEAST_SHARE * (agree + len(found.absent) + len(found.displaced))
