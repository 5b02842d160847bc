"""The same tune in other keys, planned whole, to be heard and read beside the chosen one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from disc.design.arrange.arrange import MOST_OTHERS, Share
from disc.design.plan import Design, plan_design
from disc.errors import BadInput
from disc.words import Advance


def check_alternatives(count: int, key_is_set: bool) -> None:
    """Raises BadInput for a number that cannot be had, or where the key is not free."""
    if not 0 <= count <= MOST_OTHERS:
        raise BadInput(f"--alternatives can be 0 to {MOST_OTHERS}, not {count}.")
    if count and key_is_set:
        raise BadInput("alternatives are other keys, but --keep or --transpose sets the key. Leave out one of them.")


def in_other_keys(design: Design, count: int, revolution_s: float | None, advance: Advance) -> tuple[Design, ...]:
    """The best arrangements in other keys, as many as asked for."""
    settings = replace(design.settings, budget_s=design.settings.budget_s / MOST_OTHERS)
    made = []
    for number, share in enumerate(chosen_shares(design.arrangement.others, count), start=1):
        advance(0.25, f"alternative {number}")
        made.append(plan_design(design.score, design.comb, design.plate, settings, revolution_s, share.transposition))
    return tuple(made)


def chosen_shares(others: Sequence[Share], count: int) -> list[Share]:
    """The first of the others, best first; the one that keeps most notes is among them, for a person hears of it."""
    chosen = list(others[:count])
    fullest = min(others, key=lambda share: share.lost, default=None)
    if chosen and fullest is not None and fullest not in chosen:
        chosen[-1] = fullest
    return chosen
