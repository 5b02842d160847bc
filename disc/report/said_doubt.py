"""A doubt in the reader's language: said part by part, or whole in English, never half of each."""

from __future__ import annotations

from disc.doubts import doubt_line
from disc.locale.catalogue import Language
from disc.locale.said import Said
from disc.records import Doubt
from disc.words import chance


def doubt_in(doubt: Doubt, said: Said) -> str:
    """What is in doubt, how sure, and what settles it, as doubts.doubt_line words it in English."""
    if said.language is Language.EN:
        return doubt_line(doubt)
    before = set(said.unknown)
    side = f", {said(f'{doubt.side.value} side')}" if doubt.side else ""
    sure = "" if doubt.probability >= 1.0 else f" ({chance(doubt.probability)})"
    colon = "\u00a0:" if said.language is Language.FR else ":"
    label = f"{said('In doubt')} ({said(doubt.about.value)}{side})"
    line = f"{label}{colon} {said(doubt.say)}{sure}" + (f" {said(doubt.advice)}" if doubt.advice else "")
    if said.unknown == before:
        return line
    said.unknown = before
    return doubt_line(doubt)
