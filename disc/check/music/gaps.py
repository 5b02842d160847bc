"""Places without a hole where the music wants a strike: candidates from laying like places over each other."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from disc.check.music.music_places import MusicSite, PlayingPins, place_without_hole
from disc.check.music.repeats import StrikesHeard, Votes, Window, nearest_gap, vote
from disc.frame import FloatArray

# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
LEAST_SAME = 0.25  # probability of being the same material from which a place's strikes are laid over another


def candidate_places(heard: StrikesHeard, bench: PlayingPins, sound_of_tooth: dict[int, int]) -> tuple[MusicSite, ...]:
    """Places that a like place suggests and where no such strike stands, in order of sound and time.

    Every strike is carried to all places a lag away that are like its own; what lands where its sound already strikes,
    or outside the tune, is dropped; what lands together is one candidate, at the median of its times.
    """
    if heard.t_s.size == 0:
        return ()
    votes = vote(heard, heard.t_s, heard.sound, Window(heard.grid.bar_s))
    places = []
    for sound, at_s in sorted(_landed(heard, votes).items()):
        standing = np.sort(heard.t_s[heard.sound == sound])
        for group in _together(np.sort(at_s), heard.tolerance_s):
            middle = float(np.median(group))
            if nearest_gap(standing, np.array([middle]))[0] < heard.tolerance_s:
                continue
            place = place_without_hole(middle, sound, bench, sound_of_tooth)
            if place is not None:
                places.append(place)
    return tuple(places)


def _landed(heard: StrikesHeard, votes: Votes) -> dict[int, list[float]]:
    """Where strikes land when carried over to like places that lack them, seconds, by sound."""
    low, high = heard.t_s.min() - heard.tolerance_s, heard.t_s.max() + heard.tolerance_s
    landed: dict[int, list[float]] = defaultdict(list)
    rows, columns = np.nonzero((votes.same > LEAST_SAME) & votes.inside & ~votes.present)
    for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
        at = float(heard.t_s[row] + votes.lags_s[column])
        if low <= at <= high:
            landed[int(heard.sound[row])].append(at)
    return landed


def _together(sorted_s: FloatArray, reach_s: float) -> list[FloatArray]:
    """Runs of times no farther from the run's first than the reach."""
    groups: list[list[float]] = []
    for t in sorted_s.tolist():
        if groups and t - groups[-1][0] <= reach_s:
            groups[-1].append(t)
        else:
            groups.append([t])
    return [np.array(group) for group in groups]
