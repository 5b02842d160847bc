"""A recording followed along the expected strikes: where the disc was, what each strike did, what else began.

place and line (place_in_recording) -> true pitches -> matching along the motion, again and again -> exact onsets
-> each strike's own step, with its twins and neighbours solved for
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.errors import BadInput
from disc.listen.sound.audio import FloatArray
from disc.listen.sound.bands import Whole
from disc.listen.sound.beginnings import for_fundamentals
from disc.listen.turn.early_late import at_its_own_sound, beside_the_path, on_the_path
from disc.listen.turn.followed import Followed
from disc.listen.turn.hear.heard_strikes import HeardStrike, Matched
from disc.listen.turn.hear.leaks import leaks
from disc.listen.turn.hear.single_sounds import APART_S, Beginning
from disc.listen.turn.hear.strike_attacks import Attacks
from disc.listen.turn.hear.strike_steps import ToneStep, steps_of, voices_of
from disc.listen.turn.judge.match_strikes import match
from disc.listen.turn.judge.silent_strikes import places_of
from disc.listen.turn.judge.which_tooth import Told, tell
from disc.listen.turn.learn.tooth_voices import refined
from disc.listen.turn.learn.true_pitches import OffTable, off_table
from disc.listen.turn.learn.tuned_voices import tuned
from disc.listen.turn.place.disc_path import Expected, loudness
from disc.listen.turn.place.onset_moment import attack_curve, refine
from disc.listen.turn.place.place_in_recording import FEWEST_STRIKES, LaidStrikes
from disc.listen.turn.place.speed import Motion, motion_from
from disc.listen.turn.place.tones import Tones, tones_at, tones_near

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
ROUNDS = 3  # of matching and fitting the motion; in the second strikes move no more than their onsets' spread
CLEAR_GAIN = 0.3  # a step that explains so much of its band says where it begins
PLAYED_SHARE = 0.34  # of a lap's strikes; a lap that was played has nearly all, one that was not some chance ones


def follow(laid: LaidStrikes, pitches: dict[int, float]) -> Followed:
    """Everything that the recording shows along the strikes laid through it. pitches: of the table, by tooth.

    Raises BadInput if too few strikes are heard to follow the disc.
    """
    off, tones, expected = _at_true_pitches(laid, pitches)
    matched, motion, tones = _settle(laid, tones, expected)
    return stepped(laid.whole, tones, tell(laid.whole, tones, matched), motion, off)


def stepped(whole: Whole, tones: Tones, told: Told, motion: Motion, off: tuple[OffTable, ...]) -> Followed:
    """What was told, with what each strike adds to its tooth's own tone."""
    heard = told.matched.heard
    voices = voices_of(whole, tones, [(h.beginning.time_s, h.expected.tooth) for h in heard if h.beginning])
    path = motion.time(np.array([h.expected.turn for h in heard]))
    places = places_of(heard, path)
    sought = [(h.expected.tooth, float(t)) for h, t in zip(heard, places, strict=True)]
    steps = steps_of(whole, voices, sought, sought)
    struck = [k for k, h in enumerate(heard) if h.beginning is not None]
    exact = tuned(whole, voices, [sought[k] for k in struck], [steps[k] for k in struck])
    voices = {tooth: voice if voice.known else exact[tooth] for tooth, voice in voices.items()}
    steps = steps_of(whole, exact, sought, _where_begun(sought, steps))
    found = on_the_path(
        Followed(whole, tones, told, motion, off, voices, exact, steps, places, np.zeros(len(heard))), path
    )
    found = at_its_own_sound(beside_the_path(found, path), path)
    return replace(found, leaks=leaks(whole, exact, found.told.matched.heard, found.steps, found.places_s))


def _where_begun(sought: Sequence[tuple[int, float]], steps: Sequence[ToneStep | None]) -> list[tuple[int, float]]:
    """(tooth, time in s) of every strike: where its step fits best, if that is clear, else where it was sought. A twin
    some hundredths of a second beside its place would leave the other something to explain."""
    return [
        (tooth, at if step is None or step.gain < CLEAR_GAIN else at + step.off_s)
        for (tooth, at), step in zip(sought, steps, strict=True)
    ]


def _at_true_pitches(
    laid: LaidStrikes, pitches: dict[int, float]
) -> tuple[tuple[OffTable, ...], Tones, list[Expected]]:
    """(teeth off their table, the tones where every tooth really sounds, the expected strikes on them)."""
    heard = {tooth: pitch + laid.cents / 100.0 for tooth, pitch in pitches.items()}
    off, near = off_table(for_fundamentals(laid.recording), laid.expected, laid.path_s, heard)
    if not off and not near:
        return (), laid.tones, laid.expected
    cents = near | {o.tooth: o.cents for o in off}
    true = {tooth: pitch + cents.get(tooth, 0.0) / 100.0 for tooth, pitch in heard.items()}
    tones = tones_near(laid.whole, true, cents.keys())
    return off, tones, [replace(e, group=tones.group_of(e.tooth)) for e in laid.expected]


def _settle(laid: LaidStrikes, tones: Tones, expected: list[Expected]) -> tuple[Matched, Motion, Tones]:
    """Match, fit the motion, listen again at the teeth's own frequencies, and match again along it, with exact
    onsets."""
    path = laid.path_s
    curve, step_s = attack_curve(laid.recording)
    for again in range(ROUNDS):
        loud = loudness(tones)
        matched = match(tones, expected, path, loud, Attacks(curve, step_s))
        heard = [h for h in matched.heard if h.beginning is not None]
        if len(heard) < FEWEST_STRIKES:
            raise BadInput("too few of the expected strikes are heard to follow the disc. Record closer, in quiet.")
        onsets = _onsets([h.beginning for h in heard if h.beginning], curve, step_s)
        strikes = [h.expected for h in heard]
        motion = motion_from(
            onsets,
            np.array([e.turn for e in strikes]),
            [e.group for e in strikes],
            [e.index for e in strikes],
            is_mean=again == ROUNDS - 1,
        )
        expected = _played(expected, heard)
        path = motion.time(np.array([e.turn for e in expected]))
        if not again:
            rung = refined(laid.whole, tones, [(h.beginning.time_s, h.expected.tooth) for h in heard if h.beginning])
            tones = tones_at(laid.whole, tones.teeth, rung)
    return _with_onsets(matched, curve, step_s), motion, tones


def _played(expected: list[Expected], heard: Sequence[HeardStrike]) -> list[Expected]:
    """The expected strikes without laps of which almost nothing is heard: the disc stood still, or had stopped."""
    laps = {int(np.floor(e.turn)) for e in expected}
    counts = {lap: sum(np.floor(e.turn) == lap for e in expected) for lap in laps}
    sounding = {lap: sum(np.floor(h.expected.turn) == lap for h in heard) for lap in laps}
    return [e for e in expected if sounding[int(np.floor(e.turn))] >= PLAYED_SHARE * counts[int(np.floor(e.turn))]]


def _onsets(beginnings: Sequence[Beginning], curve: FloatArray, step_s: float) -> FloatArray:
    return refine([b.edge_s for b in beginnings], [b.group for b in beginnings], curve, step_s)


def _with_onsets(matched: Matched, curve: FloatArray, step_s: float) -> Matched:
    """Everything heard with its exact onset."""
    beginnings = [h.beginning for h in matched.heard if h.beginning] + [b for b, _ in matched.extra]
    onsets = _onsets(beginnings, curve, step_s)
    exact = {id(b): replace(b, time_s=float(t)) for b, t in zip(beginnings, onsets, strict=True)}
    heard = tuple(h if h.beginning is None else replace(h, beginning=exact[id(h.beginning)]) for h in matched.heard)
    taken = [(h.beginning.group, h.beginning.time_s) for h in heard if h.beginning]
    extra = [(exact[id(b)], odds) for b, odds in matched.extra]
    # Two peaks of one pitch may turn out to be one attack.
    lone = tuple((b, o) for b, o in extra if not any(g == b.group and abs(t - b.time_s) < APART_S for g, t in taken))
    return replace(matched, heard=heard, extra=lone)
