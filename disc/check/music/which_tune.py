"""Which of a file's tunes is the disc's: each laid over the disc by the library, the best one kept."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.check.music.repeats import StrikesHeard
from disc.library.records import Alignment, ReferenceTune
from disc.library.search.places.align import align
from disc.records import Comb

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
LEAST_AGREEING = 8  # notes; fewer agree with any tune
# Of the printed notes within what the disc plays, so many must be found for the tune to be that of the disc at all.
LEAST_SHARE = 0.6
# Of the shorter of print and disc, so many notes must be found. Of 48 other tunes laid over discs none had 0.18; 24
# right ones with three notes of ten lost, half of them among as many notes of accompaniment, had 0.62 and more.
LEAST_COVERED = 0.35


def best_of(
    heard: StrikesHeard, comb: Comb, references: Sequence[ReferenceTune]
) -> tuple[ReferenceTune, Alignment] | None:
    """Of several tunes (those of one file) the one that lies best on the disc; None if none is the disc's tune."""
    pitch_of = {tooth.number: tooth.pitch for tooth in comb.teeth}
    pitch = np.array([pitch_of[int(tooth)] for tooth in heard.tooth], dtype=float)
    laid = [(tune, align(heard.t_s, pitch, tune)) for tune in references if tune.pitch.size >= LEAST_AGREEING]
    fitting = [(tune, found) for tune, found in laid if is_this_tune(found, min(tune.pitch.size, len(pitch)))]
    return max(fitting, key=lambda pair: pair[1].score, default=None)


def is_this_tune(found: Alignment, shorter: int) -> bool:
    """Whether a tune laid over a disc is that of the disc. shorter: notes of the shorter of print and disc."""
    agree = len(found.agree)
    within = agree + len(found.absent) + len(found.displaced)
    return agree >= LEAST_AGREEING and agree >= LEAST_SHARE * within and agree >= LEAST_COVERED * shorter
