"""Strikes beside the place where the disc's path puts them: early or late only with a rise of their own tone there.

What was heard far off is put back on the path unless its tone rises more there than on it. What does not rise on the
path is looked for beside it, before it is called silent: a pin that leans strikes some hundredths of a second early or
late. What rises farther off, where no pin accounts for it, is that strike too where its place shows only the ringing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.heard_strikes import HeardStrike
from disc.listen.turn.hear.single_sounds import Beginning, peak_near
from disc.listen.turn.hear.strike_steps import ToneStep, ToothVoice, own_levels, steps_of
from disc.listen.turn.judge.extra_sounds import FAR_S, LIKELY_ODDS

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Share of what was unexplained in its band that a strike out of its place must explain, and of its tooth's usual step
# that it must reach: early and weak at once is rare, and chance finds something weak everywhere.
LEAST_RISE, LEAST_LEVEL = 0.15, 0.25
# A strike that explains less than the one of its band, or less than the other of its tooth's usual step, is looked for
# so far beside its place; there it must explain so much more, of a size that its tooth's strikes have. Of one that
# already stands well beside the path the place itself is only sought farther: a little more is enough.
POOR_GAIN, POOR_SHARE, EDGE_S, CLEARER_AT_EDGE = 0.5, 0.4, 0.018, 0.03
# Where a step fits best so near the end of where it is sought, it is some other place's. Of seven false strikes of 50
# said to be early or late four fitted so, and of the true ones none.
MOST_OFF_S, MOST_BESIDE_S = 0.03, 0.02
# Each seeks about itself, so that nothing between is left out. Chosen.
BESIDE_S = (-0.095, -0.07, -0.045, 0.045, 0.07, 0.095)
# Of the band, and of the usual step. Of 41 strikes said to be early or late on turns that were looked at the true ones
# explain .68 and more, and are no louder than 1.15 of the usual; four false ones explain less or are louder than this.
CLEAR_GAIN, CLEARER, LEAST_SHARE, MOST_SHARE = 0.65, 0.25, 0.4, 1.6
# Pins that lean are few: where more strikes than this share seem to stand beside it, the teeth speak late or swell,
# and only what explains nearly all of its band counts. Chosen: of one instrument 14 of 90 strikes fit beside it, by up
# to .89 of their band.
MOST_OF_ALL, VERY_CLEAR_GAIN = 0.06, 0.9
FARTHEST_S = 0.13  # chosen: some 0.1 mm of lean at 5 mm from the arbor, in a turn of 50 s
APART_S = 0.025  # what begins with another strike may be that one's partial; chosen
NO_RISE = 0.06  # of the usual step: no strike. Chosen: what rings on leaves .01, a pin too short gives .1 and more
# About its tooth's tone as it was tuned: .7 cents beside its own it explains .99 of a strike, and yet its ringing seems
# a strike of .08 of the usual a fifth of a second on. Chosen.
FINER_CENTS = np.arange(-1.5, 1.6, 0.25)
FOUND_ODDS = 1.0  # nats; its own tone says the rest; chosen


def on_the_path(followed: Followed, path_s: FloatArray) -> Followed:
    """A strike heard far from the disc's path is early or late only if its own tone rises there, and more than on the
    path: else it is where the path puts it."""
    heard, steps, places = list(followed.told.matched.heard), list(followed.steps), followed.places_s.copy()
    usual = own_levels(steps, [h.expected for h in heard])
    far = [k for k, t in enumerate(path_s) if places[k] != t]
    sought = [(heard[k].expected.tooth, float(path_s[k])) for k in far]
    around = [(h.expected.tooth, float(t)) for k, (h, t) in enumerate(zip(heard, places, strict=True)) if k not in far]
    for k, there in zip(far, steps_of(followed.whole, followed.tuned, sought, around), strict=True):
        here, b = steps[k], heard[k].beginning
        if there is None or b is None:
            continue
        if here is not None and here.gain > max(there.gain, LEAST_RISE) and here.level > LEAST_LEVEL * usual[k]:
            begun_s, path = float(places[k]) + here.off_s, float(path_s[k])
            is_beside = EDGE_S < abs(here.off_s) <= MOST_OFF_S  # of what seemed to begin its tone begins well beside
            if is_beside and abs(begun_s - path) < abs(float(places[k]) - path):
                heard[k] = replace(heard[k], beginning=replace(b, time_s=max(0.0, begun_s)))
            continue
        steps[k], places[k] = there, float(path_s[k])
        heard[k] = replace(heard[k], beginning=replace(b, time_s=max(0.0, float(path_s[k]) + there.off_s)))
    matched = replace(followed.told.matched, heard=tuple(heard))
    return replace(followed, told=replace(followed.told, matched=matched), steps=steps, places_s=places)


def beside_the_path(followed: Followed, path_s: FloatArray) -> Followed:
    """A strike whose tone does not rise on the path, and does clearly beside it where nothing else begins, was early or
    late."""
    heard, steps, places = list(followed.told.matched.heard), list(followed.steps), followed.places_s.copy()
    usual = own_levels(steps, [h.expected for h in heard])
    poor = [
        k for k, step in enumerate(steps)
        if step is not None
        and (step.gain < POOR_GAIN or step.level < POOR_SHARE * usual[k] or abs(step.off_s) > EDGE_S)
    ]  # fmt: skip
    others = [(h.expected.tooth, float(t)) for k, (h, t) in enumerate(zip(heard, places, strict=True)) if k not in poor]
    begun = np.array([t for _, t in others])
    sought = [(k, float(path_s[k]) + beside) for k in poor for beside in BESIDE_S]
    there = steps_of(followed.whole, followed.tuned, [(heard[k].expected.tooth, at) for k, at in sought], others)
    best: dict[int, tuple[float, float, ToneStep]] = {}
    for (k, at), step in zip(sought, there, strict=True):
        here = steps[k]
        if step is None or here is None or abs(step.off_s) > MOST_BESIDE_S:
            continue
        more = CLEARER_AT_EDGE if abs(here.off_s) > EDGE_S else CLEARER
        if step.gain < max(CLEAR_GAIN, here.gain + more):
            continue
        moment = at + step.off_s
        is_alike = LEAST_SHARE * usual[k] < step.level < MOST_SHARE * usual[k]
        is_lone = not len(begun) or float(np.abs(begun - moment).min()) > APART_S
        if is_alike and is_lone and abs(moment - path_s[k]) < FARTHEST_S:
            best[k] = max(best.get(k, (0.0, 0.0, step)), (step.gain, at, step), key=lambda found: found[0])
    if len(best) > MOST_OF_ALL * len(heard):
        best = {k: found for k, found in best.items() if found[0] >= VERY_CLEAR_GAIN}
    for k, (_, at, step) in best.items():
        group, moment = heard[k].expected.group, max(0.0, at + step.off_s)
        strength = max(peak_near(followed.tones, group, moment, APART_S), 1e-9)
        begins = Beginning(group, moment, strength, 0.0, 1.0, moment)
        heard[k] = replace(heard[k], beginning=begins, odds=max(heard[k].odds, FOUND_ODDS))
        steps[k], places[k] = step, at
    matched = replace(followed.told.matched, heard=tuple(heard))
    return replace(followed, told=replace(followed.told, matched=matched), steps=steps, places_s=places)


def at_its_own_sound(followed: Followed, path_s: FloatArray) -> Followed:
    """A strike that sounds on the path only by what its own tone, begun farther beside it, rings on there: that
    beginning, which nothing else accounts for, is the strike."""
    heard, steps, places = list(followed.told.matched.heard), list(followed.steps), followed.places_s.copy()
    usual = own_levels(steps, [h.expected for h in heard])
    left = []
    for b, odds in followed.told.matched.extra:
        near = [
            k for k, (h, step) in enumerate(zip(heard, steps, strict=True))
            if odds > LIKELY_ODDS and h.beginning is not None and h.expected.group == b.group
            and abs(path_s[k] - b.time_s) < FAR_S and step is not None and step.level < POOR_SHARE * usual[k]
        ]  # fmt: skip
        k = min(near, key=lambda k: abs(path_s[k] - b.time_s), default=None)
        there = None if k is None else _rises_only_at(followed, heard, places, k, b.time_s, float(usual[k]))
        if k is None or there is None:
            left.append((b, odds))
            continue
        heard[k] = replace(heard[k], beginning=b, odds=max(odds, FOUND_ODDS))
        steps[k], places[k] = there, b.time_s
    matched = replace(followed.told.matched, heard=tuple(heard), extra=tuple(left))
    return replace(followed, told=replace(followed.told, matched=matched), steps=steps, places_s=places)


def _rises_only_at(
    followed: Followed, heard: Sequence[HeardStrike], places_s: FloatArray, k: int, at_s: float, usual: float
) -> ToneStep | None:
    """The step of strike k at at_s, if its tone rises there as it does, and with that known no more at its place."""
    tooth = heard[k].expected.tooth
    others = [(h.expected.tooth, float(t)) for i, (h, t) in enumerate(zip(heard, places_s, strict=True)) if i != k]
    own = followed.tuned[tooth]
    best: tuple[ToneStep, dict[int, ToothVoice]] | None = None
    for cents in FINER_CENTS:
        voices = followed.tuned | {tooth: replace(own, hz=own.hz * 2 ** (cents / 1200))}
        (step,) = steps_of(followed.whole, voices, [(tooth, at_s)], others)
        if step is not None and (best is None or step.gain > best[0].gain):
            best = step, voices
    if best is None or best[0].gain < CLEAR_GAIN:
        return None
    there, voices = best
    (here,) = steps_of(followed.whole, voices, [(tooth, float(places_s[k]))], [*others, (tooth, at_s)])
    is_alike = LEAST_SHARE * usual < there.level < MOST_SHARE * usual
    return there if is_alike and here is not None and here.level < NO_RISE * usual else None
