"""Each tooth's tone tuned until it explains the tooth's own strikes: pitch and fall over the first fifth of a second.

A tone some cents beside its own explains nothing after a fifth of a second, and every strike of its tooth then seems to
be none; one that falls faster at first, or glides, is followed by how it is there, not by how it settles. What a person
is told as the tooth's pitch stays that of its settled decay, where that is known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from disc.listen.sound.bands import Whole
from disc.listen.turn.hear.strike_steps import (
    AFTER_S,
    BEFORE_S,
    FASTEST_S,
    NEAR_BANDS,
    SLOWEST_S,
    ToneBand,
    ToneStep,
    ToothVoice,
)

# A voice is tuned by its own strikes where it was not known or explains less than so much of them: so far, in such
# steps, then finer; a pitch so many cents from where the spectrum's line stands costs half a nat. Chosen on five turns
# of the draw of other sources: twins seven cents off are then explained to .98 instead of .06.
WELL_EXPLAINED, MOST_STRIKES, MOST_NATS = 0.85, 8, 3.0
# Tried about the pitch, and then about the best of them; chosen by hand.
TUNE_CENTS, FINE_CENTS = np.arange(-24.0, 25.0, 3.0), np.array([-1.5, -0.75, 0.75, 1.5])
UNLIKELY_CENTS = 15.0  # sigma of a voice about the pitch it was given; chosen by hand
FALLS = (0.6, 1.6, 2.5, 4.0)  # factors of its fall that are tried; chosen by hand


def tuned(
    whole: Whole, voices: Mapping[int, ToothVoice], struck: Sequence[tuple[int, float]],
    steps: Sequence[ToneStep | None],
) -> dict[int, ToothVoice]:  # fmt: skip
    """The voices, those that explain their own strikes badly tuned until they do. struck: (tooth, time in s) of what
    sounded; steps: by what its tooth stepped up there, one each."""
    found = dict(voices)
    by_tooth: dict[int, list[tuple[float, ToneStep]]] = {}
    for (tooth, at), step in zip(struck, steps, strict=True):
        if step is not None:
            by_tooth.setdefault(tooth, []).append((at, step))
    for tooth, rows in by_tooth.items():
        usual = float(np.median([step.gain for _, step in rows]))
        if usual < WELL_EXPLAINED or not found[tooth].known:
            places = sorted(rows, key=lambda row: -row[1].level)[:MOST_STRIKES]
            found[tooth] = _tuned(whole, found, struck, tooth, [at + step.off_s for at, step in places])
    return found


def _tuned(
    whole: Whole, voices: Mapping[int, ToothVoice], struck: Sequence[tuple[int, float]], tooth: int,
    places_s: Sequence[float],
) -> ToothVoice:  # fmt: skip
    voice = voices[tooth]
    view = ToneBand(whole, voice)
    near = {t for t, v in voices.items() if t != tooth and abs(v.hz - view.hz) < NEAR_BANDS * view.half_hz}
    around = []
    for at in places_s:
        beside = [(voices[t], a) for t, a in struck if t in near and at - BEFORE_S < a < at + AFTER_S]
        piece = view.piece(at, beside, [voices[t] for t in near] or [voice])
        if piece is not None:
            around.append((at, piece))

    def worth(one: ToothVoice, cents: float) -> float:
        shares = np.array([view.explains(one, at, piece) for at, piece in around])
        return float(np.minimum(-np.log(1.0 - shares), MOST_NATS).sum()) - 0.5 * (cents / UNLIKELY_CENTS) ** 2

    def at_cents(cents: float, fall: float = voice.fall) -> ToothVoice:
        return ToothVoice(voice.hz * 2 ** (cents / 1200), fall, voice.known)

    worths = {float(c): worth(at_cents(c), c) for c in TUNE_CENTS}
    best = max(worths, key=lambda c: worths[c])
    falls = {f: worth(at_cents(best, voice.fall * f), best) for f in FALLS} | {1.0: worths[best]}
    factor = max(falls, key=lambda f: falls[f])
    fall = float(np.clip(voice.fall * factor, SLOWEST_S, FASTEST_S))
    fine = {best: falls[factor]} | {best + c: worth(at_cents(best + c, fall), best + c) for c in FINE_CENTS}
    return at_cents(max(fine, key=lambda c: fine[c]), fall)
