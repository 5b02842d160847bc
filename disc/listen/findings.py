"""A judged turn as findings about places of the disc, each with what is heard and when.

Kinds are those of check/: silent-strike, extra-sound, off-beat for early and late strikes, uneven-height for a pin
that strikes weakly at every turn (too short, or its tooth stands too far away).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace

from disc.frame import FULL_TURN_DEG, theta_for
from disc.listen.claims import (
    EXTRA_PROBABILITY,
    LATE_PROBABILITY,
    MOST_SURE,
    SILENT_PROBABILITY,
    WEAK_PROBABILITY,
)
from disc.listen.pitch_words import pitch_words
from disc.listen.turn.turn_record import Silence, Sound, Turn
from disc.records import Comb, Evidence, Finding, Pin, Plate, Strike

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
SAME_PLACE_DEG = 1.0  # 0.15 s of a usual turn
Located = tuple[Finding, Sound | None, float]


def findings_of(turn: Turn, strikes: Sequence[Strike], pins: Sequence[Pin], comb: Comb, plate: Plate) -> list[Located]:
    """Findings with the sound each is about and the second of the recording at which to listen, in order of time."""
    by_id = {pin.id: pin for pin in pins}
    found: list[Located] = []
    dead = {tooth.number: tooth.condition for tooth in comb.teeth if tooth.is_silent}
    why = {s.strike: s for s in turn.silences}
    for k in turn.silent:
        at = _time_of(turn, strikes[k])
        words = f"no sound of tooth {strikes[k].tooth} where its pin passes, {at:.2f} s into the recording"
        words += f": {why[k].reason}" if k in why else ""
        if strikes[k].tooth in dead:
            words += f"; the comb's table says that the tooth is {dead[strikes[k].tooth]}"
        found.append((_about_pin("silent-strike", strikes[k], by_id, _silent_probability(why.get(k)), words), None, at))
    for sound in turn.early_late:
        if sound.strike is None:
            continue
        which = "late" if sound.late_s > 0 else "early"
        words = f"heard {abs(sound.late_s) * 1000:.0f} ms {which} against the movement's own course"
        strike = strikes[sound.strike]
        found.append((_about_pin("off-beat", strike, by_id, LATE_PROBABILITY, words), sound, sound.time_s))
    for k in turn.weak:
        at = _time_of(turn, strikes[k])
        words = "weak each time it is heard: the pin is too short, or the tooth stands too far from it"
        found.append((_about_pin("uneven-height", strikes[k], by_id, WEAK_PROBABILITY, words), None, at))
    for tooth in turn.weak_teeth:
        first = min((s.strike for s in turn.sounds if s.tooth == tooth and s.strike is not None), default=None)
        if first is not None:
            words = f"tooth {tooth} is weak at all its pins: it stands too far from them, or is damaged itself"
            finding = _about_pin("uneven-height", strikes[first], by_id, WEAK_PROBABILITY, words)
            found.append((finding, None, _time_of(turn, strikes[first])))
    found += [item for sound in turn.extra if (item := _extra(turn, sound, strikes, comb, plate)) is not None]
    return _once_each(sorted(found, key=lambda item: item[2]))


def without_dead(found: Sequence[Located], dead: Collection[int]) -> tuple[list[Located], str]:
    """(findings but for the silences of teeth known to give no tone, what is said of those all together)."""
    apart = [item for item in found if item[0].kind == "silent-strike" and item[0].tooth in dead]
    if not apart:
        return list(found), ""
    teeth = sorted({finding.tooth for finding, *_ in apart if finding.tooth is not None})
    each = [
        f"tooth {tooth} at {', '.join(f'{at:.2f}' for finding, _, at in apart if finding.tooth == tooth)} s"
        for tooth in teeth
    ]
    words = f"Silent because the comb's table says that the tooth gives no tone: {'; '.join(each)}. No new pin helps."
    return [item for item in found if item not in apart], words


def _silent_probability(why: Silence | None) -> float:
    return SILENT_PROBABILITY if why is None else min(why.probability, MOST_SURE)


def _once_each(found: Sequence[Located]) -> list[Located]:
    """What is heard at one place in several turns is one finding, which says when it is heard again."""
    kept: list[Located] = []
    for finding, sound, at in found:
        same = next((k for k, (other, *_) in enumerate(kept) if _is_same(other, finding)), None)
        if same is None:
            kept.append((finding, sound, at))
        else:
            before, first, when = kept[same]
            said = before.evidence[0]
            again = replace(said, words=f"{said.words}; again at {at:.2f} s")
            kept[same] = (replace(before, evidence=(again, *before.evidence[1:])), first, when)
    return kept


def _is_same(one: Finding, other: Finding) -> bool:
    apart = abs((one.theta_deg - other.theta_deg + 180.0) % 360.0 - 180.0)
    return (one.kind, one.pin_id, one.tooth) == (other.kind, other.pin_id, other.tooth) and apart < SAME_PLACE_DEG


def _heard(words: str, probability: float) -> Evidence:
    """What is heard, weighed in nats: the odds of the probability."""
    return Evidence("heard", words, math.log(probability / (1.0 - probability)))


def _time_of(turn: Turn, strike: Strike) -> float:
    """When the disc passes a strike for the first time within the recording."""
    import numpy as np

    fraction = strike.turn_deg / FULL_TURN_DEG
    laps = fraction + np.arange(-1.0, 8.0, dtype=np.float64)
    times = turn.motion.time(laps)
    inside = times[times >= 0.0]
    return float(inside[0]) if len(inside) else 0.0


def _about_pin(kind: str, strike: Strike, by_id: dict[int, Pin], probability: float, words: str) -> Finding:
    pin = by_id[strike.pin_id] if strike.pin_id is not None else None
    assert pin is not None  # strikes of a job come from its pins
    return Finding(
        kind, pin.side, pin.r_mm, pin.theta_deg, probability, (_heard(words, probability),), pin.id,
        strike.tooth,
    )  # fmt: skip


def _extra(turn: Turn, sound: Sound, strikes: Sequence[Strike], comb: Comb, plate: Plate) -> Located | None:
    """An extra sound at the place of the disc that passed the tooth just then; None where no tooth is known."""
    import numpy as np

    teeth = [t for t in comb.teeth if t.number == sound.tooth] or [
        t for t in comb.teeth if t.pitch is not None and abs(t.pitch - sound.pitch) < 0.5
    ]
    if not teeth:
        return None
    tooth = teeth[0]
    turned = float(turn.motion.position(np.array([sound.time_s]))[0]) % 1.0 * FULL_TURN_DEG
    theta = float(theta_for(turned, tooth.tip_deg, plate.turns))
    which = (
        f"tooth {tooth.number}" if len(teeth) == 1 else f"one of the teeth {', '.join(str(t.number) for t in teeth)}"
    )
    words = f"{pitch_words(sound.pitch)} sounds at {sound.time_s:.2f} s ({which}), where no pin accounts for it"
    pin_id = None
    if sound.cause is not None:
        cause = strikes[sound.cause]
        pin_id = cause.pin_id
        words += (
            f"; pin {pin_id} of tooth {cause.tooth} beside it strikes just then: it may reach over, or its tip be wide"
        )
    probability = EXTRA_PROBABILITY if sound.probability is None else min(sound.probability, MOST_SURE)
    evidence = (_heard(words, probability),)
    finding = Finding("extra-sound", tooth.side, tooth.tip_r_mm, theta, probability, evidence, None, tooth.number)
    return finding, sound, sound.time_s
