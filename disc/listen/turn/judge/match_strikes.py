"""Which expected strikes sounded, and when; what else sounded.

Each expected strike takes at most one beginning of its pitch near where the smooth path puts it. Whether it sounded is
weighed: a strike of that pitch is usually so loud, what others explain is so loud, and most strikes do sound. What is
left over and not explained is extra.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.hear.heard_strikes import OPEN_ODDS, REACH_S, HeardStrike, Matched
from disc.listen.turn.hear.levels import (
    FEWEST_CLEAR,
    NEIGHBOURS,
    StrikeLevels,
    ground,
    usual_levels,
    usual_steadiness,
    without_explained,
)  # fmt: skip
from disc.listen.turn.hear.single_sounds import APART_S, Beginning, explain, find_beginnings, peak_near, shares_of
from disc.listen.turn.hear.strike_attacks import Attacks
from disc.listen.turn.judge.extra_sounds import displaced, find_extra, parted
from disc.listen.turn.place.disc_path import Expected
from disc.listen.turn.place.tones import Tones

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
ON_TIME_S = 0.05  # a deviation costs its square in these
SILENT_ODDS = float(np.log(0.05 / 0.95))  # before listening: one in twenty (common practice, no source)
# Of a tooth that never sounds clearly (common practice, no source).
UNKNOWN_SILENT_ODDS = float(np.log(0.3 / 0.7))
# Where the strength alone leaves doubt: how often a strike that sounded (3,277) and one that did not (223, of 70 tuning
# recordings) was so far off its place, and went on so much more steadily than its tooth's strikes do. Logarithms of the
# ratio.
OFF_S, OFF_ODDS = (0.0025, 0.0075, 0.015, 0.025, 0.04, 0.09), (1.56, 0.67, -0.60, -1.17, -1.12, -0.92)
LESS_STEADY = 0.15  # than the teeth beside it: then theirs stands for a tooth's usual steadiness; chosen by hand
# Steps of how much steadier it goes on than its tooth's strikes; measured as said above.
STEADIER = (-0.5, -0.32, -0.2, -0.11, -0.06, -0.03, 0.03, 0.06, 0.11, 0.3)
STEADIER_ODDS = (-3.0, -1.5, -1.05, -0.86, -0.3, 1.67, 1.67, 0.7, 0.3, -1.5)  # the odds in nats at those places
STRUCK_SHARE = 0.25  # of the usual strength: before anything is weighed, as strong as this is taken for a strike
FAINT_S = 0.05  # what stands where no peak does is read so far about a place


def match(
    tones: Tones, expected: Sequence[Expected], path_s: FloatArray, loud: FloatArray, attacks: Attacks
) -> Matched:
    """Match what began with what was expected. path_s: shape (n,), where the path puts each expected strike."""
    levels = usual_levels(tones, expected, path_s, loud)
    struck = [
        (t, e.group) for t, e in zip(path_s, expected, strict=True)
        if peak_near(tones, e.group, t, 0.04) > STRUCK_SHARE * levels.usual[e.group]
    ]  # fmt: skip
    shares = shares_of(tones, struck, levels.usual)
    beginnings = find_beginnings(tones, levels.usual)
    causes = _on_time(beginnings, expected, path_s, levels.usual)
    for _ in range(2):
        beginnings = explain(beginnings, shares, causes)
        own, beside = usual_steadiness(causes, len(levels.usual))
        # A tooth far less steady than its neighbours may be a dead one of which only others' sound is heard.
        steady = np.where(own < beside - LESS_STEADY, beside, own)
        taken = _assign(beginnings, expected, path_s, levels.usual)
        found = [
            beginnings[taken[k]] if k in taken else _faint(tones, e, float(path_s[k])) for k, e in enumerate(expected)
        ]
        levels = without_explained(levels, expected, found)
        odds = over_laps(_odds(found, levels, steady, expected, path_s, attacks), expected)
        causes = [beginnings[pick] for pick in sorted({pick for k, pick in taken.items() if odds[k] > 0})]
    outside = (path_s < 0.0) | (path_s > tones.frames * tones.step_s)
    odds[outside] = -0.5 * OPEN_ODDS  # nothing is known of them
    heard = [
        HeardStrike(e, float(path_s[k]), found[k] if odds[k] > 0 else None, float(odds[k]))
        for k, e in enumerate(expected)
    ]
    levels = _with_weak(levels, heard)
    used = {pick for k, pick in taken.items() if odds[k] > 0}
    heard, used = parted(heard, used, beginnings, levels, attacks)
    extra = find_extra(beginnings, used, heard, levels, attacks, shares)
    heard, extra = displaced(heard, extra)
    return Matched(tuple(_without_dead(heard)), tuple(extra), levels.usual)


def _on_time(
    beginnings: Sequence[Beginning], expected: Sequence[Expected], path_s: FloatArray, usual: FloatArray
) -> list[Beginning]:
    """The beginnings that stand where a strike of their pitch was to sound, strong enough to be it."""
    groups = np.array([e.group for e in expected])
    places = {int(g): path_s[groups == g] for g in set(groups.tolist())}
    return [
        b
        for b in beginnings
        if b.strength > STRUCK_SHARE * usual[b.group]
        and b.group in places
        and np.abs(places[b.group] - b.time_s).min() < FAINT_S
    ]


def _odds(
    found: Sequence[Beginning], levels: StrikeLevels, steady: FloatArray, expected: Sequence[Expected],
    path_s: FloatArray, attacks: Attacks,
) -> FloatArray:  # fmt: skip
    """Log-odds that each expected strike sounded, shape (n,): by its tone, and by its attack where it stands alone.

    A tooth whose tone does not stand out, but whose strikes are heard to begin, is a weak one: its tone says nothing.
    """
    clear = [b.steady > 0.0 for b in found]
    offs = [b.time_s - t if is_clear else None for b, t, is_clear in zip(found, path_s, clear, strict=True)]
    tone = np.array([
        sounded_odds(b, levels, off, float(steady[b.group])) for b, off in zip(found, offs, strict=True)
    ])  # fmt: skip
    cue = attacks.cue(path_s, tone)
    of_tooth: dict[int, list[int]] = {}
    for k, e in enumerate(expected):
        of_tooth.setdefault(e.tooth, []).append(k)
    odds = np.maximum(tone, -MOST_AGAINST) + cue
    faint = {tooth: mine for tooth, mine in of_tooth.items() if not levels.known[expected[mine[0]].group]}
    own = {tooth: float(cue[mine].sum()) for tooth, mine in faint.items()}
    for tooth, mine in faint.items():
        # A whole register of a comb may be weak: what its neighbours show counts as much as one sure strike of its own.
        beside = [own[t] for t, m in faint.items() if t != tooth and _beside(expected, m, mine)]
        register = float(np.clip(np.mean(beside), -WEAK_TOOTH_ODDS, WEAK_TOOTH_ODDS)) if beside else 0.0
        if own[tooth] + register >= WEAK_TOOTH_ODDS:
            # As strong as where its attack is heard: then the lack of an attack says nothing.
            strengths = np.array([found[k].strength for k in mine])
            own_strength = np.median(strengths[cue[mine] > 0.0]) if np.any(cue[mine] > 0.0) else np.inf
            says = np.where(strengths > LIKE_ITSELF * own_strength, np.maximum(cue[mine], 0.0), cue[mine])
            odds[mine] = np.maximum(odds[mine], says - SILENT_ODDS)
        elif len(mine) >= FEWEST_CLEAR and _together_odds(tone[mine] + cue[mine]) < -DEAD_TOOTH_ODDS:
            # A dead tooth is silent at every strike: what one of them leaves open the others tell.
            odds[mine] = np.where(odds[mine] < SURE_ODDS, np.minimum(odds[mine], -SURE_ODDS), odds[mine])
    return odds


def over_laps(odds: FloatArray, expected: Sequence[Expected]) -> FloatArray:
    """The odds, shape (n,), where a strike comes round in several laps: what is silent in one is silent in all, so a
    lap in doubt goes by what all say together."""
    laps: dict[int, list[int]] = {}
    for k, e in enumerate(expected):
        laps.setdefault(e.index, []).append(k)
    result = odds.copy()
    for mine in laps.values():
        total = float(np.clip(odds[mine], -MOST_OF_ONE, MOST_OF_ONE).sum())
        if len(mine) > 1 and total < 0.0:
            result[mine] = np.minimum(odds[mine], total)
    return result


def _together_odds(odds: FloatArray) -> float:
    """What the strikes of a tooth that never sounds clearly say together of whether it sounds; odds: shape (n,)."""
    return float(np.clip(odds + UNKNOWN_SILENT_ODDS, -MOST_OF_ONE, MOST_OF_ONE).sum() - UNKNOWN_SILENT_ODDS)


def _beside(expected: Sequence[Expected], some: Sequence[int], others: Sequence[int]) -> bool:
    """Whether two teeth, given by their strikes, are of one register of the comb."""
    return abs(expected[some[0]].group - expected[others[0]].group) <= NEIGHBOURS // 2


def _with_weak(levels: StrikeLevels, heard: Sequence[HeardStrike]) -> StrikeLevels:
    """The levels, those of teeth that turned out to be weak from their own strikes."""
    usual = levels.usual.copy()
    for group in np.flatnonzero(~levels.known):
        own = [h.beginning.strength for h in heard if h.expected.group == group and h.beginning is not None]
        if len(own) >= FEWEST_CLEAR:
            usual[group] = float(np.median(own))
    return replace(levels, usual=usual)


def _faint(tones: Tones, strike: Expected, path_s: float) -> Beginning:
    """What stands where a strike was to sound though no peak stands out there."""
    strength = peak_near(tones, strike.group, path_s, FAINT_S)
    return Beginning(strike.group, path_s, strength, 0.0, 0.0, path_s)


# A tooth that never sounds alone is dead only if so many strikes of its own say so; one may be a lost pin. Chosen.
LEAST_SILENT = 2
# Odds that a tone that does not stand out can say against a strike, and what the attacks of a tooth must say together
# for it to be taken as weak rather than dead. In nats.
MOST_AGAINST, WEAK_TOOTH_ODDS = 8.0, 3.0
LIKE_ITSELF = 0.6  # of its usual strength: the attack then says nothing against it; chosen by hand
# nats: of all its strikes to be dead; of any one at most; to be sure. Chosen by hand
DEAD_TOOTH_ODDS, MOST_OF_ONE, SURE_ODDS = 1.0, 3.0, 3.0


def _without_dead(heard: Sequence[HeardStrike]) -> list[HeardStrike]:
    """A strike that shares its sound with another tooth's is silent where its own tooth never sounds alone."""
    users: dict[int, list[HeardStrike]] = {}
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


def sounded_odds(b: Beginning, levels: StrikeLevels, off_s: float | None = None, steady: float = 1.0) -> float:
    """Log-odds that an expected strike sounded, from the strength found at its place, and from how far the beginning
    is off that place and how steadily it goes on against its tooth's usual; off_s: None where no beginning stands
    out."""
    usual, spread = levels.usual[b.group], levels.spread[b.group]
    nothing, nothing_spread = ground(b, levels)
    strength = max(b.strength, 1e-12)
    above = min(0.0, np.log(strength / np.hypot(usual, b.explained)))  # louder than usual speaks for it, not against
    over = np.log(strength / nothing)
    # What is weaker than nothing would be speaks against either alike, and for neither.
    says = -0.5 * (above / spread) ** 2 + 0.5 * (max(over, above) / nothing_spread) ** 2
    says = says if over > 0 else min(0.0, says)
    if off_s is not None:
        says += np.interp(abs(off_s), OFF_S, OFF_ODDS) + np.interp(b.steady - steady, STEADIER, STEADIER_ODDS)
    return float(says - (SILENT_ODDS if levels.known[b.group] else UNKNOWN_SILENT_ODDS))


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
    mine = [beginnings[j] for j in sounds]
    times = [b.time_s for b in mine]
    clear = np.array([max(b.strength - b.explained, 0.02 * b.strength) for b in mine])
    worth = (8.0 + 2.0 * np.clip(np.log(clear / usual), -2.5, 0.5)).tolist()
    # Plain numbers: arrays are slow one place at a time.
    best = [[0.0] * (columns + 1) for _ in range(rows + 1)]
    step = [[0] * (columns + 1) for _ in range(rows + 1)]
    for i in range(1, rows + 1):
        place = float(path_s[strikes[i - 1]])
        for j in range(1, columns + 1):
            late = times[j - 1] - place
            way, most = (0, best[i - 1][j]) if best[i - 1][j] >= best[i][j - 1] else (1, best[i][j - 1])
            if abs(late) < REACH_S:
                paired = best[i - 1][j - 1] + worth[j - 1] - (late / ON_TIME_S) ** 2
                way, most = (2, paired) if paired > most else (way, most)
            step[i][j], best[i][j] = way, most
    pairs: dict[int, int] = {}
    i, j = rows, columns
    while i and j:
        if step[i][j] == 2:
            pairs.update(dict.fromkeys(together[i - 1], sounds[j - 1]))
            i, j = i - 1, j - 1
        elif step[i][j] == 0:
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
