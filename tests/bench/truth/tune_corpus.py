"""Melodies of the music21 corpus, drawn by a seed, as plain numbers; kept in the user's cache folder.

Five collections: European and Chinese songs of the Essen collection, O'Neill's 1850 melodies, Aird's airs, Ryan's
Mammoth Collection, and two small books (Northumbrian and American fife tunes). Taken: tunes in one metre throughout,
of at least 32 notes, with a key signature. Repeats are played out. The draw is split into a half for tuning ("tuning")
and a half that is only ever scored ("held out"); no tune whose opening stands in one half is in the other.

"""

from __future__ import annotations

import itertools
import json
import random
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import platformdirs

COLLECTIONS = ("essen", "han", "oneills", "airds", "ryans", "misc")
METRES = {(2, 4), (3, 4), (4, 4), (2, 2), (6, 8), (9, 8), (12, 8), (3, 8), (6, 4), (4, 2), (3, 2)}
SHORTEST_NOTES = 32
OPENING = 20  # intervals that make two tunes the same tune


@dataclass(frozen=True)
class Melody:
    """A corpus melody: (onset, duration, pitch, is_grace) in quarters from the first full bar, repeats played out."""

    name: str
    collection: str
    part: str  # "tuning" or "held out"
    notes: tuple[tuple[Fraction, Fraction, int, bool], ...]
    metre: tuple[int, int]
    fifths: int
    tonic: int
    mode: str
    end_quarter: Fraction


def load_melodies(draw_seed: int = 1, count: int = 1000) -> list[Melody]:
    """The draw, from the cache where it is there."""
    cache = Path(platformdirs.user_cache_dir("disc")) / f"bench-melodies-{draw_seed}-{count}.json"
    if cache.is_file():
        return [_from_json(item) for item in json.loads(cache.read_text(encoding="utf-8"))]
    melodies = list(_draw(draw_seed, count))
    cache.parent.mkdir(parents=True, exist_ok=True)
    cache.write_text(json.dumps([_to_json(melody) for melody in melodies]), encoding="utf-8")
    return melodies


def _draw(draw_seed: int, count: int) -> Iterator[Melody]:
    rng = random.Random(draw_seed)
    pools: list[tuple[str, list[tuple[str, int | None]]]] = [(name, _entries(name)) for name in COLLECTIONS]
    for _, pool in pools:
        rng.shuffle(pool)
    seen: set[tuple[int, ...]] = set()
    taken = 0
    while taken < count and any(pool for _, pool in pools):
        for name, pool in pools:
            melody = None
            while pool and melody is None:
                melody = _parse(name, pool.pop())
                if melody is not None and _opening(melody) in seen:
                    melody = None
            if melody is not None:
                seen.add(_opening(melody))
                part = "held out" if rng.random() < 0.5 else "tuning"
                yield Melody(**(melody.__dict__ | {"part": part}))
                taken += 1


def _opening(melody: Melody) -> tuple[int, ...]:
    pitches = [note[2] for note in melody.notes if not note[3]]
    return tuple(b - a for a, b in itertools.pairwise(pitches))[:OPENING]


def _entries(collection: str) -> list[tuple[str, int | None]]:
    """(file, number) of every tune in a collection; number is None where a file holds one tune."""
    from music21 import corpus

    folder = {"essen": "essenFolksong", "han": "essenFolksong", "oneills": "oneills1850", "airds": "airdsAirs"}
    folder |= {"ryans": "ryansMammoth", "misc": "miscFolk"}
    found: list[tuple[str, int | None]] = []
    for path in sorted(corpus.getComposer(folder[collection])):
        if path.suffix != ".abc" or path.stem.startswith("test"):
            continue
        if collection in ("essen", "han") and (path.stem.startswith("han") != (collection == "han")):
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        numbers = [int(n) for n in re.findall(r"^X:\s*(\d+)", text, re.M)]
        name = f"{folder[collection]}/{path.name}"
        found += [(name, None)] if len(numbers) < 2 else [(name, n) for n in sorted(set(numbers))]
    return found


def _parse(collection: str, entry: tuple[str, int | None]) -> Melody | None:
    from music21 import corpus

    try:
        score: Any = corpus.parse(entry[0], number=entry[1])
        part = score.parts[0] if score.parts else score
        expanded = part.expandRepeats() if part.recurse().getElementsByClass("RepeatMark") else part
        return _melody(collection, f"{entry[0]}#{entry[1] or 1}", expanded)
    except Exception:  # a tune that music21 cannot read or play out is not drawn
        return None


def _melody(collection: str, name: str, part: Any) -> Melody | None:
    metres = {(m.numerator, m.denominator) for m in part.recurse().getElementsByClass("TimeSignature")}
    keys = list(part.recurse().getElementsByClass("KeySignature"))
    if len(metres) != 1 or not metres <= METRES or len({k.sharps for k in keys}) != 1:
        return None
    metre = metres.pop()
    bar = Fraction(4 * metre[0], metre[1])
    first_full = _first_full_bar(part, bar)
    notes: list[tuple[Fraction, Fraction, int, bool]] = []
    open_ties: set[int] = set()
    for element in part.flatten().notes:
        onset = Fraction(element.offset).limit_denominator(96) - first_full
        pitch = max(p.midi for p in element.pitches)
        grace = bool(element.duration.isGrace)
        if element.tie is not None and element.tie.type in ("stop", "continue") and pitch in open_ties and notes:
            last = notes[-1]
            notes[-1] = (last[0], last[1] + Fraction(element.quarterLength).limit_denominator(96), last[2], last[3])
        else:
            notes.append((onset, Fraction(element.quarterLength).limit_denominator(96), pitch, grace))
        open_ties = {pitch} if element.tie is not None and element.tie.type in ("start", "continue") else set()
    if len(notes) < SHORTEST_NOTES or not -bar < notes[0][0] < bar:
        return None
    if not _bars_hold(part, bar):
        return None
    key = keys[0]
    tonic, mode = (key.tonic.pitchClass, key.mode) if hasattr(key, "tonic") else ((7 * key.sharps) % 12, "major")
    end = Fraction(part.highestTime).limit_denominator(96) - first_full
    return Melody(name, collection, "", tuple(notes), metre, key.sharps, tonic, mode, end)


def _first_full_bar(part: Any, bar: Fraction) -> Fraction:
    first = next(iter(part.getElementsByClass("Measure")))
    length = Fraction(first.duration.quarterLength).limit_denominator(96)
    return length if length < bar else Fraction(0)


def _bars_hold(part: Any, bar: Fraction) -> bool:
    """Whether bar lines keep to the metre: short bars only where a strain's end and the next upbeat make one bar."""
    offsets = [Fraction(m.offset).limit_denominator(96) for m in part.getElementsByClass("Measure")]
    first = _first_full_bar(part, bar)
    wrong = sum(1 for offset in offsets[1:] if (offset - first) % bar)
    return wrong <= 0.1 * len(offsets) + 1 and (offsets[-1] - first) % bar in (0, *_partial(offsets, first, bar))


def _partial(offsets: list[Fraction], first: Fraction, bar: Fraction) -> set[Fraction]:
    """Places in the bar where strains part: bar lines that stand off the metre, if they always stand at one place."""
    places = {(offset - first) % bar for offset in offsets} - {Fraction(0)}
    return places if len(places) == 1 else set()


def _to_json(melody: Melody) -> dict[str, Any]:
    item = asdict(melody)
    item["notes"] = [[str(o), str(d), p, g] for o, d, p, g in melody.notes]
    item["end_quarter"] = str(melody.end_quarter)
    return item


def _from_json(item: dict[str, Any]) -> Melody:
    notes = tuple((Fraction(o), Fraction(d), p, g) for o, d, p, g in item["notes"])
    fixed = {"notes": notes, "metre": tuple(item["metre"]), "end_quarter": Fraction(item["end_quarter"])}
    return Melody(**(item | fixed))
