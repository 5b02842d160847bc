"""Pins off the beat: early or late against their written note by more than the setting error of the others.

The tune's reader may take a rare figure for its neighbour's place, so lateness alone is no finding: where the music
runs alike elsewhere, the strike must stand on its beat. (That also tells a late pin from a rare part of the beat: on
invented discs of the training half it lets through no false finding, and twice as many pins set wrong as leaving out
all that a third, a quarter or a sixth of the beat could explain; without it, three findings in four were right.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from disc.check.evidence import HEARD, combine, limited, normal_log_density
from disc.check.kinds import Kind
from disc.check.music.music_observations import is_lonely
from disc.check.music.repeats import StrikesHeard, Window, vote
from disc.check.photo.photo_findings import finding_at
from disc.records import Evidence, Finding, Pin, Strike, Tune
from disc.turn.bars import late_s

# What a listener notices in an even run; common practice, no source: 30 to 50 ms.
LEAST_LATE_S = 0.06
# Unless said otherwise: chosen by hand while looking at development discs; not fitted.
LEAST_SIGMAS = 5.0  # of some 200 strikes none is that far off by chance
PRIOR_OFF_BEAT = 0.001  # one pin in a thousand; common practice, no source
# A pin set wrong may be anywhere up to half a beat from its place. Lateness, whose weight is limited, comes to 0.75:
# like places must speak for the beat before it is told.
REPORT_FROM = 0.9
# Nats by which like places are for the beat against the found place. On the training half false lateness had 0.1 at
# most, and pins set wrong 2 to 5 where any like place was there to speak.
LEAST_SUPPORT = 2.0


def off_beat_findings(
    pins: Iterable[Pin], tune: Tune, strikes: Sequence[Strike], heard: StrikesHeard
) -> tuple[Finding, ...]:
    """Pins whose strike is off its written place by far more than the rest, where no others fall in the beat.

    pins: with their teeth. heard: the same strikes, in the same order. Where others fall at that point too, the reader
    took a note for another's place, and the pin is right.
    """
    sigma_s = heard.grid.sigma_s
    least_s = max(LEAST_LATE_S, LEAST_SIGMAS * sigma_s)
    row_of = {strike.pin_id: row for row, strike in enumerate(strikes)}
    lonely = is_lonely(heard)
    late = late_s(tune, strikes)
    findings = []
    for pin in pins:
        off = late.get(pin.id, 0.0)
        if abs(off) < least_s or not lonely[row_of[pin.id]]:
            continue
        evidence = (_lateness(off, heard), _support(off, row_of[pin.id], heard))
        probability = combine(PRIOR_OFF_BEAT, evidence)
        if probability >= REPORT_FROM and evidence[1].weight >= LEAST_SUPPORT:
            findings.append(finding_at(pin, Kind.OFF_BEAT, probability, *evidence))
    return tuple(findings)


def _lateness(off_s: float, heard: StrikesHeard) -> Evidence:
    """How far the strike lies from its written place, against the others' spread."""
    sigma_s = heard.grid.sigma_s
    weight = limited(-math.log(heard.grid.beat_s) - normal_log_density(off_s, sigma_s))
    word = "late" if off_s > 0 else "early"
    words = f"{1000 * abs(off_s):.0f} ms {word}; the others lie within {2000 * sigma_s:.0f} ms of the beat grid"
    return Evidence(HEARD, words, weight)


def _support(off_s: float, row: int, heard: StrikesHeard) -> Evidence:
    """What the places where the music runs alike say: is the strike there on its beat, or as late as here?"""
    found_s = float(heard.t_s[row])
    times = np.array([found_s - off_s, found_s])
    sound = np.repeat(heard.sound[row], 2)
    base = np.full(2, heard.base_rate[int(heard.sound[row])])
    votes = vote(heard, times, sound, Window(heard.grid.bar_s))
    on_beat, as_found = votes.log_odds(base).tolist()
    weight = limited(on_beat - as_found)
    witness = votes.best_witness(0)
    if weight <= 0.0 or witness is None:
        return Evidence(HEARD, "no place where the music runs alike has it on the beat", weight)
    bar, _ = heard.grid.bar_and_beat(found_s - off_s + witness[0])
    return Evidence(HEARD, f"where the music runs alike, in bar {bar}, the strike is on its beat", weight)
