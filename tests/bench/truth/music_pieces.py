"""Pieces with an accompaniment of their own from the music21 corpus: quartets, piano pieces, songs, in numbers.

Haydn, Mozart, both Schumanns, Schubert, Weber, Beethoven, Chopin and a few songs of other times, whose leading part is
known by the setting (first violin, voice, right hand). A movement is cut into excerpts in one metre and key; those of
one work are all in the same half, "looked at" (used while choosing) or "last" (scored once, at the end). The works of
TUNING are in neither: the reader's numbers are fitted on them (tests/bench/fit/fit_tune.py). Kept in the user's cache
folder, since reading takes minutes.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs

# (file, what it is, the leading part's number). Works, not movements, are kept together.
PIECES = (
    *((f"haydn/opus1no1/movement{n}.mxl", "quartet", 0) for n in range(1, 6)),
    *((f"mozart/k155/movement{n}.mxl", "quartet", 0) for n in range(1, 4)),
    *((f"mozart/k156/movement{n}.mxl", "quartet", 0) for n in range(1, 5)),
    *((f"mozart/k80/movement{n}.mxl", "quartet", 0) for n in range(1, 5)),
    *((f"haydn/opus74no1/movement{n}.mxl", "quartet", 0) for n in (2, 3)),
    *((f"schumann_clara/polonaise_op1n{n}.mxl", "piano", 0) for n in range(1, 5)),
    ("schumann_robert/opus41no1/movement2.mxl", "quartet", 0),
    ("schumann_robert/opus41no1/movement3.mxl", "quartet", 0),
    ("schumann_robert/opus48no2.mxl", "song", 0),
    ("mozart/k458/movement2.mxl", "quartet", 0),
    ("mozart/k458/movement3.mxl", "quartet", 0),
    ("mozart/k545/movement1_exposition.mxl", "piano", 0),
    ("chopin/mazurka06-2.krn", "piano", 0),
    ("schubert/Lindenbaum.xml", "song", 0),
    ("verdi/laDonnaEMobile.mxl", "song", 0),
    ("handel/rinaldo/Lascia_chio_pianga.mxl", "song", 0),
    ("liliuokalani/aloha_oe.mxl", "song", 0),
    ("johnson_j_r/lift_every_voice.mxl", "song", 0),
    ("joplin/maple_leaf_rag.mxl", "piano", 0),
    ("beethoven/opus18no1/movement3.mxl", "quartet", 0),
    ("beethoven/opus18no1/movement2.mxl", "quartet", 0),
)
LAST = (
    "mozart/k80",
    "mozart/k458",
    "schumann_robert",
    "chopin",
    "verdi",
    "johnson",
    "beethoven",
    "schumann_clara/polonaise_op1n3",
    "schumann_clara/polonaise_op1n4",
    "haydn/opus74no1",
)
# Other works by the same and by earlier hands, of which none is in PIECES.
TUNING = (
    *((f"beethoven/opus59no1/movement{n}.mxl", "quartet", 0) for n in range(1, 5)),
    *((f"beethoven/opus59no2/movement{n}.mxl", "quartet", 0) for n in range(1, 5)),
    *((f"beethoven/opus59no3/movement{n}.mxl", "quartet", 0) for n in range(1, 5)),
    *((f"beethoven/opus18no{n}.mxl", "quartet", 0) for n in (3, 4, 5)),
    ("beethoven/opus74.mxl", "quartet", 0),
    ("beethoven/opus132.mxl", "quartet", 0),
    ("schumann_clara/opus17/movement3.xml", "trio", 0),
    ("cpebach/h186.mxl", "piano", 0),
    ("corelli/opus3no1/1grave.xml", "trio", 0),
    ("beach/prayer_of_a_tired_child.musicxml", "song", 0),
)
LENGTHS = (16, 24)  # bars of the excerpts, in turn
MOST_EXCERPTS = 4
MOST_OF_MOVEMENT, MOST_OF_WORK = 10, 40  # of a tuning file that holds one movement, or a whole work
FEWEST_NOTES = 40
FEWEST_OF_LEAD = 20


@dataclass(frozen=True)
class Piece:
    """An excerpt. notes: (onset, duration, pitch, part) in quarters from its first full bar line."""

    name: str
    kind: str
    half: str
    parts: tuple[str, ...]
    lead: int
    notes: tuple[tuple[Fraction, Fraction, int, int], ...]
    metre: tuple[int, int]
    fifths: int
    bars: int


def load_pieces() -> list[Piece]:
    """All excerpts of PIECES, from the cache where it is there."""
    return _load("bench-pieces-3.json", PIECES, lambda _: MOST_EXCERPTS)


def load_tuning_pieces() -> list[Piece]:
    """All excerpts of TUNING in which the leading part plays, for fitting."""
    pieces = _load(
        "bench-pieces-tuning.json", TUNING, lambda name: MOST_OF_MOVEMENT if "movement" in name else MOST_OF_WORK
    )
    return [piece for piece in pieces if sum(note[3] == piece.lead for note in piece.notes) >= FEWEST_OF_LEAD]


def _load(name: str, entries: Iterable[tuple[str, str, int]], most: Callable[[str], int]) -> list[Piece]:
    cache = Path(platformdirs.user_cache_dir("disc")) / name
    if cache.is_file():
        return [_from_json(item) for item in json.loads(cache.read_text(encoding="utf-8"))]
    pieces = [piece for entry in entries for piece in _excerpts(*entry, most(entry[0]))]
    cache.parent.mkdir(parents=True, exist_ok=True)
    cache.write_text(json.dumps([_to_json(piece) for piece in pieces]), encoding="utf-8")
    return pieces


def _excerpts(name: str, kind: str, lead: int, most: int) -> list[Piece]:
    from music21 import corpus

    score: Any = corpus.parse(name)
    parts = list(score.parts)
    lead = lead % len(parts)
    measures = list(parts[lead].getElementsByClass("Measure"))
    starts = [Fraction(m.offset).limit_denominator(96) for m in measures]
    signs = _signatures(parts[lead])
    known = any(name == entry[0] for entry in PIECES)
    half = "tuning" if not known else "last" if name.startswith(LAST) else "looked at"
    made: list[Piece] = []
    at = 0
    notes = _notes(parts)
    while at < len(measures) and len(made) < most:
        length = LENGTHS[len(made) % 2]
        metre, fifths = signs(starts[at])
        bar = Fraction(4 * metre[0], metre[1])
        upbeat = at + 1 < len(starts) and starts[at + 1] - starts[at] < bar
        first = starts[at + 1] if upbeat else starts[at]
        end = first + length * bar
        inside = [(o - first, d, p, part) for o, d, p, part in notes if starts[at] <= o < end]
        whole = all((s - first) % bar == 0 and signs(s) == (metre, fifths) for s in starts[at + 1 :] if s < end)
        if whole and end <= starts[-1] + bar and len(inside) >= FEWEST_NOTES:
            names = tuple(str(p.partName or "") for p in parts)
            made.append(Piece(f"{name}#{at}", kind, half, names, lead, tuple(inside), metre, fifths, length))
            at += length + int(upbeat)
        else:
            at += 1
    print(name, len(made), flush=True)
    return made


def _signatures(part: Any) -> Any:
    """A function: the (metre, sharps) in force at an offset."""
    metres: list[Any] = []
    keys: list[Any] = []
    for m in part.recurse().getElementsByClass("TimeSignature"):
        metres.append((Fraction(m.getOffsetInHierarchy(part)), (m.numerator, m.denominator)))
    for k in part.recurse().getElementsByClass("KeySignature"):
        keys.append((Fraction(k.getOffsetInHierarchy(part)), int(k.sharps)))

    def at(offset: Fraction) -> tuple[tuple[int, int], int]:
        metre = [m for o, m in metres if o <= offset] or [metres[0][1]]
        key = [k for o, k in keys if o <= offset] or [0]
        return metre[-1], key[-1]

    return at


def _notes(parts: list[Any]) -> list[tuple[Fraction, Fraction, int, int]]:
    found = []
    for number, part in enumerate(parts):
        for element in part.flatten().notes:
            if element.duration.isGrace or "ChordSymbol" in element.classes:
                continue
            if element.tie is not None and element.tie.type in ("stop", "continue"):
                continue
            onset = Fraction(element.offset).limit_denominator(96)
            length = Fraction(element.quarterLength).limit_denominator(96)
            found += [(onset, length, int(p.midi), number) for p in element.pitches]
    return sorted(found)


def key_is_known(piece: Piece) -> bool:
    """Whether the printed signature can be the excerpt's key: an excerpt from the middle of a movement is often in
    another. It is not where four of five published profiles (music21's copies), laid on all of its notes by their
    lengths, name one other signature.
    """
    from music21.analysis import discrete

    weight = np.zeros(12)
    for _, length, pitch, _ in piece.notes:
        weight[pitch % 12] += float(length)
    named = []
    for name in ("KrumhanslKessler", "AardenEssen", "SimpleWeights", "BellmanBudge", "TemperleyKostkaPayne"):
        profile = getattr(discrete, name)()
        fits = {
            (mode, tonic): float(np.corrcoef(np.roll(weight, -tonic), profile.getWeights(mode))[0, 1])
            for mode in ("major", "minor")
            for tonic in range(12)
        }
        mode, tonic = max(fits, key=lambda key: fits[key])
        named.append(7 * (tonic if mode == "major" else tonic + 3) % 12)
    most = max(set(named), key=named.count)
    return most == piece.fifths % 12 or named.count(most) < 4


def _to_json(piece: Piece) -> dict[str, Any]:
    return asdict(piece) | {"notes": [[str(o), str(d), p, part] for o, d, p, part in piece.notes]}


def _from_json(item: dict[str, Any]) -> Piece:
    notes = tuple((Fraction(o), Fraction(d), p, part) for o, d, p, part in item["notes"])
    return Piece(**(item | {"notes": notes, "metre": tuple(item["metre"]), "parts": tuple(item["parts"])}))


if __name__ == "__main__":
    print(len(load_pieces()), "excerpts")
