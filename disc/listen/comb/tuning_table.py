"""The tuning table: how far each tooth stands from the nearest step of an equal, a mean-tone and a well-tempered scale.

Equal: twelve even semitones, by definition. Mean-tone: quarter comma, eleven fifths narrowed by a quarter of the
syntonic comma (81/80), Eb to G sharp, as Aaron (1523) is read. Well-tempered: the third of Werckmeister (Musicalische
Temperatur, 1691): the fifths C-G, G-D, D-A and B-F sharp narrowed by a quarter of the Pythagorean comma, others pure.
Both from memory; computed here from those definitions. The common pitch is sought for each scale by itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from disc.comb.bar import tip_mass_share
from disc.listen.comb.temperament import deviation_cents, scale_cents, shift_of
from disc.listen.sound.audio import FloatArray

SCALES = ("equal", "mean-tone", "well-tempered")
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
TWIN_SEMITONES = 0.5  # nearer, two teeth are of one note
FEWEST = 3  # teeth with a pitch; a scale's one shift fits two of them always (chosen)


def well_tempered_cents() -> FloatArray:
    """Werckmeister's third temperament: deviation from equal of the pitch classes C to B, A at zero; shape (12,)."""
    pure, comma = 1200 * np.log2(3 / 2), 1200 * np.log2(3**12 / 2**19)
    narrowed = {0, 7, 2, 11}  # the fifths up from C, G, D and B
    cents, at, place = np.zeros(12), 0, 0.0
    for _ in range(11):
        place += pure - (comma / 4 if at in narrowed else 0.0)
        at = (at + 7) % 12
        cents[at] = (place - 100.0 * at + 600.0) % 1200.0 - 600.0
    return np.asarray(cents - cents[9])


def tuning_rows(pitches: Mapping[int, float | None]) -> dict[str, Any] | None:
    """Plain JSON: the A of each scale, and for each tooth with a pitch its cents from the nearest step of each and from
    its nearest twin. tip_mass_percent: of the mass that swings at the tip, what would have to come on (negative:
    off) to stand at the equal step; told to know, not to do. pitches: MIDI numbers by tooth. None with fewer than
    three."""
    known = {tooth: float(p) for tooth, p in sorted(pitches.items()) if p is not None}
    if len(known) < FEWEST:
        return None
    values = np.array(list(known.values()))
    scales = {
        "equal": scale_cents("equal", 0), "mean-tone": scale_cents("quarter-comma meantone", 0),
        "well-tempered": well_tempered_cents(),
    }  # fmt: skip
    shifts = {name: shift_of(values, scale) for name, scale in scales.items()}
    off = {name: deviation_cents(values, scales[name], shifts[name]) for name in SCALES}
    return {
        "a_hz": {name: round(440.0 * 2 ** (shifts[name] / 1200.0), 2) for name in SCALES},
        "teeth": [
            {
                "tooth": tooth, **{name: round(float(off[name][k]), 1) for name in SCALES}, **_twin(tooth, known),
                "tip_mass_percent": round(100.0 * tip_mass_share(-float(off["equal"][k])), 1),
            }
            for k, tooth in enumerate(known)
        ],
    }  # fmt: skip


def _twin(tooth: int, known: Mapping[int, float]) -> dict[str, Any]:
    others = [(abs(p - known[tooth]), t) for t, p in known.items() if t != tooth]
    apart, other = min(others)
    if apart >= TWIN_SEMITONES:
        return {"twin": None, "twin_cents": None}
    return {"twin": other, "twin_cents": round(100.0 * (known[tooth] - known[other]), 1)}
