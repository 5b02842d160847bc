"""What each photograph of a face added to it: all of them are brought together once more without it, and compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from disc.photo.marks.pins_from_sites import SAME_PIN_MM
from disc.photo.several.fitting import places
from disc.photo.several.merge_pins import ShownFace, merge_pins
from disc.records import Pin
from disc.words import counted


@dataclass(frozen=True, slots=True)
class Added:
    """By one photograph. sites: it tells by itself; more, fewer: sites that stand, and do not stand, because of it;
    settled: conditions told otherwise than without it; sigma_mm, without_mm: median of the places' own, with it and
    without, None where nothing states it."""

    sites: int
    more: int
    fewer: int
    settled: int
    sigma_mm: float | None
    without_mm: float | None

    def words(self, name: str) -> str:
        """One line for a person."""
        parts = [f"{counted(self.more, 'site')} more"] if self.more else []
        parts += [f"{counted(self.fewer, 'site')} fewer"] if self.fewer else []
        parts += [f"{counted(self.settled, 'condition')} told otherwise"] if self.settled else []
        if self.sigma_mm is not None and self.without_mm is not None:
            parts.append(f"places to {self.sigma_mm:.3f} mm, {self.without_mm:.3f} without it")
        told = ", ".join(parts) or "nothing that the others do not show"
        return f"{name} shows {counted(self.sites, 'site')}; it added: {told}."


def what_each_added(shown: Sequence[ShownFace], together: Sequence[Pin]) -> list[Added]:
    """shown: photographs laid on one another. together: what all of them tell. Of a lone photograph nothing is said."""
    if len(shown) < 2:
        return []
    return [
        _difference(len(one.pins), together, merge_pins([other for other in shown if other is not one]))
        for one in shown
    ]


def _difference(sites: int, together: Sequence[Pin], without: Sequence[Pin]) -> Added:
    pairs = _same(together, without)
    settled = sum(together[i].condition is not without[j].condition for i, j in pairs)
    return Added(
        sites,
        len(together) - len(pairs),
        len(without) - len(pairs),
        settled,
        _median_sigma_mm(together),
        _median_sigma_mm(without),
    )


def _same(a: Sequence[Pin], b: Sequence[Pin]) -> list[tuple[int, int]]:
    """Pins of both that are each other's nearest and lie at one place."""
    if not a or not b:
        return []
    gap = np.linalg.norm(places(a)[:, None] - places(b)[None], axis=2)
    j, i = gap.argmin(1), gap.argmin(0)
    return [(k, int(m)) for k, m in enumerate(j) if i[m] == k and gap[k, m] < SAME_PIN_MM]


def _median_sigma_mm(pins: Sequence[Pin]) -> float | None:
    stated = [pin.sigma_mm for pin in pins if pin.sigma_mm is not None]
    return float(np.median(stated)) if stated else None
