"""The music's word on places of the disc, as evidence in plain language.

Brings together the observations (wants.py) and what they are worth (weights.py), and names the bar that bears witness.
"""

from __future__ import annotations

from collections.abc import Sequence

from disc.check.evidence import HEARD, MECHANICAL
from disc.check.music.music_observations import OBSERVED, Wants, observe
from disc.check.music.music_places import MusicSite
from disc.check.music.repeats import StrikesHeard
from disc.check.weights import Weights
from disc.records import Evidence

# Which observations are told together, since they answer one question. How much a sound is used belongs to the repeats:
# their votes are counted against it.
TOLD_TOGETHER = {"repeat": ("strain", "voice", "instead", "use"), "figure": ("figure",), "beat": ("beat",)}
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
SPEAKS_FROM = 0.3  # nats: what is worth less in either direction is called no word at all


def music_evidence(heard: StrikesHeard, places: Sequence[MusicSite], weights: Weights) -> list[tuple[Evidence, ...]]:
    """Evidence for each place that a pin belongs there, in the order of the places."""
    if not places:
        return []
    wants = observe(heard, places)
    return [_evidence(heard, place, wants, row, weights) for row, place in enumerate(places)]


def _evidence(heard: StrikesHeard, place: MusicSite, wants: Wants, row: int, weights: Weights) -> tuple[Evidence, ...]:
    worth = {name: weights.worth(name, float(value)) for name, value in zip(OBSERVED, wants.observed[row], strict=True)}
    summed = {topic: sum(worth[name] for name in names) for topic, names in TOLD_TOGETHER.items()}
    told = [
        Evidence(HEARD, _repeat_words(heard, place, wants, row, summed["repeat"]), summed["repeat"]),
        Evidence(HEARD, _figure_words(summed["figure"]), summed["figure"]),
        Evidence(HEARD, _beat_words(summed["beat"]), summed["beat"]),
    ]
    if abs(worth["crowd"]) > 0.0:
        told.append(Evidence(MECHANICAL, _crowd_words(place), worth["crowd"]))
    return tuple(told)


def _repeat_words(heard: StrikesHeard, place: MusicSite, wants: Wants, row: int, worth: float) -> str:
    witness = wants.votes.best_witness(row)
    if worth > SPEAKS_FROM and witness is not None:
        bar, _ = heard.grid.bar_and_beat(place.onset_s + witness[0])
        return f"the same strike is there in bar {bar}, where the music runs alike"
    if worth < -SPEAKS_FROM:
        return "places where the music runs alike do not have this strike"
    return "no other place of the tune speaks clearly of this strike"


def _figure_words(worth: float) -> str:
    if worth > SPEAKS_FROM:
        return "the figure of the lower voice has it elsewhere"
    return "the figure of the lower voice does not have it" if worth < -SPEAKS_FROM else "the lower voice says little"


def _beat_words(worth: float) -> str:
    if worth > SPEAKS_FROM:
        return "it would fall where strikes of this tune fall in the bar"
    if worth < -SPEAKS_FROM:
        return "it would fall where hardly any strike of this tune falls in the bar"
    return "its place in the bar says little"


def _crowd_words(place: MusicSite) -> str:
    return "little room to the next pin of its tooth" if place.crowd > 0.0 else "room enough on its track"
