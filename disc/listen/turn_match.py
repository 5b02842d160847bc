"""Which expected strikes sounded, and when; what else sounded.

Each expected strike takes at most one beginning of its pitch near where the smooth path puts it. Whether it sounded is
weighed: a strike of that pitch is usually so loud, what others explain is so loud, and most strikes do sound. What is
left over and not explained is extra.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from disc.listen.audio import FloatArray
from disc.listen.turn_path import Expected
from disc.listen.turn_sounds import APART_S, Beginning, explain, find_beginnings, peak_near, shares_of
from disc.listen.turn_tones import Tones

# How far from the path a strike is still taken as early or late rather than as a missing and an extra one.
REACH_S = 0.14
ON_TIME_S = 0.05  # a deviation costs its square in these
# Logarithms of a strike's strength against the usual: about +-4 dB; what is explained strays more, since partials add
# with chance phase. Chosen by hand on the development recordings, not fitted.
SOUND_SPREAD, EXPLAINED_SPREAD = 0.45, 0.5
SILENT_ODDS = float(np.log(0.05 / 0.95))  # before listening: one in twenty (common practice, no source)
EXTRA_ODDS = float(np.log(0.02))
EXTRA_SPREAD = 0.6
LEAST_STEADY = 0.7  # a tone that begins and is left alone has over 0.9; noise spreads from 0.33 up
ECHO_S, ECHO_SHARE = 0.1, 0.85
LEAST_EXTRA = 0.12  # of the pitch's usual strength


@dataclass(frozen=True)
class Heard:
    """What became of an expected strike. beginning: None where silent. odds: log-odds that it sounded."""

    expected: Expected
    path_s: float
    beginning: Beginning | None
    odds: float


@dataclass(frozen=True)
class Matched:
    """All expected strikes with what was heard of them, and the extra beginnings with their log-odds."""

    heard: tuple[Heard, ...]
    extra: tuple[tuple[Beginning, float], ...]
    loud: FloatArray


def match(tones: Tones, expected: Sequence[Expected], path_s: FloatArray, loud: FloatArray) -> Matched:
    """Match what began with what was expected. path_s: shape (n,), where the path puts each expected strike."""
    loud = usual_strength(tones, expected, path_s, loud)
    struck = [
        (t, e.group) for t, e in zip(path_s, expected, strict=True)
        if peak_near(tones, e.group, t, 0.04) > 0.25 * loud[e.group]
    ]  # fmt: skip
    shares = shares_of(tones, struck, loud)
    beginnings = explain(find_beginnings(tones, loud), shares)
    taken = _assign(beginnings, expected, path_s, loud)
    heard, used = [], set()
    for k, strike in enumerate(expected):
        pick = taken.get(k)
        odds = -20.0
        if pick is not None:
            b = beginnings[pick]
            odds = sounded_odds(b, loud[b.group], tones.noise[b.group])
            if odds > 0:
                used.add(pick)
        heard.append(Heard(strike, float(path_s[k]), beginnings[pick] if pick is not None and odds > 0 else None, odds))
    extra: list[tuple[Beginning, float]] = []
    # A pitch of which little is known (few strikes, a dead tooth) is taken to be about as loud as its neighbours.
    reference = np.array([max(loud[k], 0.6 * np.median(loud[max(0, k - 3) : k + 4])) for k in range(len(loud))])
    for k, b in enumerate(beginnings):
        if k not in used:
            odds = extra_odds(b, reference[b.group], tones.noise[b.group])
            if odds > 0 and not _echo(b, [beginnings[j] for j in used], extra):
                extra.append((b, odds))
    return Matched(tuple(_without_dead(heard)), tuple(extra), loud)


LEAST_SILENT = 2


def _without_dead(heard: Sequence[Heard]) -> list[Heard]:
    """A strike that shares its sound with another tooth's is silent where its own tooth never sounds alone."""
    users: dict[int, list[Heard]] = {}
    for h in heard:
        if h.beginning is not None:
            users.setdefault(id(h.beginning), []).append(h)
    alone: dict[int, list[bool]] = {}
    for h in heard:
        if h.beginning is None or len(users[id(h.beginning)]) == 1:
            alone.setdefault(h.expected.tooth, []).append(h.beginning is not None)
    dead = {tooth for tooth, sounded in alone.items() if len(sounded) >= LEAST_SILENT and not any(sounded)}
    result = []
    for h in heard:
        sharing = users.get(id(h.beginning), []) if h.beginning is not None else []
        others = [o for o in sharing if o.expected.tooth not in dead]
        silent = h.expected.tooth in dead and len(sharing) > 1 and others
        result.append(replace(h, beginning=None, odds=-h.odds) if silent else h)
    return result


def usual_strength(tones: Tones, expected: Sequence[Expected], path_s: FloatArray, fallback: FloatArray) -> FloatArray:
    """The usual strength of each pitch's strikes: median where expected; shape (pitches,).

    A pitch whose teeth are dead has none; it gets a share of what its neighbours in pitch have.
    """
    by_tooth: dict[int, list[float]] = {}
    for t, e in zip(path_s, expected, strict=True):
        by_tooth.setdefault(e.tooth, []).append(peak_near(tones, e.group, t, 0.05))
    values = [[v for tooth in teeth for v in by_tooth.get(tooth, [])] for teeth in tones.teeth]
    # Of teeth that share a pitch one may be dead: the loudest tells what a strike of this pitch is like.
    usual = np.array([
        max((float(np.median(by_tooth[tooth])) for tooth in teeth if tooth in by_tooth), default=np.nan)
        for teeth in tones.teeth
    ])  # fmt: skip
    filled = np.where(np.isfinite(usual), usual, fallback)
    smooth = np.array([np.median(filled[max(0, k - 3) : k + 4]) for k in range(len(filled))])
    few = np.array([len(v) < 3 for v in values])
    return np.where(few, np.maximum(filled, 0.5 * smooth), np.maximum(filled, 0.25 * smooth))


def sounded_odds(b: Beginning, usual: float, noise: float) -> float:
    """Log-odds that an expected strike sounded, from the strength found at its place."""
    ground = max(b.explained, 3.0 * noise, 0.01 * usual)
    both = np.hypot(usual, b.explained)
    above = min(0.0, np.log(b.strength / both))  # louder than usual speaks for it, not against
    over = max(0.0, np.log(b.strength / ground))
    return float(-0.5 * (above / SOUND_SPREAD) ** 2 + 0.5 * (over / EXPLAINED_SPREAD) ** 2 - SILENT_ODDS)


def extra_odds(b: Beginning, usual: float, noise: float) -> float:
    """Log-odds that an unexpected beginning is a strike of its own."""
    if b.strength < LEAST_EXTRA * usual or b.steady < LEAST_STEADY:
        return -20.0
    ground = max(b.explained * 1.3, 5.0 * noise, 0.03 * usual)
    above = min(0.0, np.log(b.strength / usual))
    over = max(0.0, np.log(b.strength / ground))
    return float(-0.5 * (above / EXTRA_SPREAD) ** 2 + 0.5 * (over / EXPLAINED_SPREAD) ** 2 + EXTRA_ODDS)


def _assign(
    beginnings: Sequence[Beginning], expected: Sequence[Expected], path_s: FloatArray, loud: FloatArray
) -> dict[int, int]:
    """Expected strike -> beginning, each used once: pitch by pitch, the best order-keeping matching."""
    taken: dict[int, int] = {}
    for group in {e.group for e in expected}:
        strikes = [k for k, e in enumerate(expected) if e.group == group]
        sounds = [j for j, b in enumerate(beginnings) if b.group == group]
        taken.update(_in_order(strikes, sounds, beginnings, path_s, float(loud[group])))
    return taken


def _in_order(
    strikes: list[int], sounds: list[int], beginnings: Sequence[Beginning], path_s: FloatArray, usual: float
) -> dict[int, int]:
    """Strikes and sounds of one pitch paired in order of time for the largest gain (Needleman and Wunsch 1970)."""
    together = _together(sorted(strikes, key=lambda k: path_s[k]), path_s)
    strikes = [members[0] for members in together]
    rows, columns = len(strikes), len(sounds)
    best = np.zeros((rows + 1, columns + 1))
    step = np.zeros((rows + 1, columns + 1), dtype=int)
    for i in range(1, rows + 1):
        for j in range(1, columns + 1):
            b = beginnings[sounds[j - 1]]
            late = b.time_s - path_s[strikes[i - 1]]
            options = [best[i - 1, j], best[i, j - 1]]
            gain = -np.inf
            if abs(late) < REACH_S:
                clear = max(b.strength - b.explained, 0.02 * b.strength)
                gain = 8.0 + 2.0 * np.clip(np.log(clear / usual), -2.5, 0.5) - (late / ON_TIME_S) ** 2
            options.append(best[i - 1, j - 1] + gain)
            step[i, j] = int(np.argmax(options))
            best[i, j] = options[step[i, j]]
    pairs: dict[int, int] = {}
    i, j = rows, columns
    while i and j:
        if step[i, j] == 2:
            pairs.update(dict.fromkeys(together[i - 1], sounds[j - 1]))
            i, j = i - 1, j - 1
        elif step[i, j] == 0:
            i -= 1
        else:
            j -= 1
    return pairs


def _together(strikes: list[int], path_s: FloatArray) -> list[list[int]]:
    """Strikes of one pitch so near in time that they sound as one: no ear can say which of them sounded."""
    rows: list[list[int]] = []
    for k in strikes:
        if rows and path_s[k] - path_s[rows[-1][0]] < APART_S:
            rows[-1].append(k)
        else:
            rows.append([k])
    return rows


def _echo(b: Beginning, used: Sequence[Beginning], extra: Sequence[tuple[Beginning, float]]) -> bool:
    """Whether a weaker beginning lies in the blur of a strike of the same pitch."""
    near = [*used, *(e for e, _ in extra)]
    return any(
        o.group == b.group and abs(o.time_s - b.time_s) < ECHO_S and b.strength < ECHO_SHARE * o.strength for o in near
    )
