"""Pieces and melodies as turns of a disc, steady or bent: a ritardando, a fermata, a drift of the setting; with
ornaments; and two of them one after the other.

Pieces (music_pieces.py) are laid out for a comb; melodies get an accompaniment made for them (tune_strikes.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from tests.bench.truth.known import known
from tests.bench.truth.music_pieces import Piece, key_is_known, load_pieces
from tests.bench.truth.tune_corpus import Melody, load_melodies
from tests.bench.truth.tune_strikes import make_turn

KINDS = ("steady", "ritardando", "fermata", "drift 1 %", "drift 3 %")


@dataclass(frozen=True)
class Case:
    """A steady turn without errors: onsets in seconds with pitches, and where its bars begin."""

    name: str
    onset_s: np.ndarray
    pitch: np.ndarray
    metre: tuple[int, int]
    fifths: int
    start_s: float
    bar_s: float
    melody: np.ndarray  # whether each strike belongs to the leading part
    key_known: bool = True  # whether fifths is its own key, not only that of the movement
    graces: np.ndarray | None = None  # whether each strike is a small note that the print has; None: none is


def cases_of_pieces(half: str) -> list[Case]:
    """Excerpts of the corpus's composers as turns."""
    return [case_of(piece, number) for number, piece in enumerate(load_pieces()) if piece.half == half]


def case_of(piece: Piece, number: int, seed: int = 11, inner: float = 0.4) -> Case:
    """The leading part's tops, the lowest notes, and some of the inner ones (inner: their share)."""
    rng = np.random.default_rng([seed, number])
    by_time: dict[Fraction, list[tuple[int, int]]] = {}
    for onset, _, tone, part in piece.notes:
        by_time.setdefault(onset, []).append((tone, part))
    kept: list[tuple[Fraction, int, bool]] = []
    for onset, notes in sorted(by_time.items()):
        lead = [tone for tone, part in notes if part == piece.lead]
        rest = sorted(tone for tone, part in notes if part != piece.lead)
        kept += [(onset, max(lead), True)] if lead else []
        kept += [(onset, tone, False) for i, tone in enumerate(rest) if i == 0 or rng.random() < inner]
    lead_mean = np.mean([p for _, _, p, part in piece.notes if part == piece.lead])
    shift = round(80 - float(lead_mean))
    leads: dict[tuple[Fraction, int], bool] = {}
    for onset, tone, lead_note in kept:
        place = (onset, tone + shift + 12 * max(0, -(-(52 - tone - shift) // 12)))
        leads[place] = leads.get(place, False) or lead_note
    folded = sorted(leads)
    bar = Fraction(4 * piece.metre[0], piece.metre[1])
    gaps = np.diff(sorted({float(o) for o, _ in folded}))
    usual = max(float(np.percentile(gaps, 25)), 0.125)
    quarter_s = min(float(rng.uniform(0.15, 0.3)) / usual, 55.0 / float(piece.bars * bar))
    start_s = 1.0 - quarter_s * min(0.0, float(folded[0][0]))
    onset_s = np.array([start_s + quarter_s * float(o) for o, _ in folded])
    pitch = np.array([p for _, p in folded])
    fifths = (piece.fifths + 7 * shift + 5) % 12 - 5
    melody = np.array([leads[place] for place in folded])
    bar_s, own = quarter_s * float(bar), key_is_known(piece)
    return Case(piece.name, onset_s, pitch, piece.metre, fifths, start_s, bar_s, melody, own)


def cases_of_melodies(count: int, part: str = "held out") -> list[Case]:
    """Melodies with an accompaniment made for them, without errors (grace notes and rolls stay)."""
    melodies = [m for m in load_melodies(count=160) if m.part == part][:count]
    return [case_of_melody(melody, np.random.default_rng([12, number])) for number, melody in enumerate(melodies)]


def case_of_melody(melody: Melody, rng: np.random.Generator) -> Case:
    """A melody with an accompaniment made for it, without errors."""
    turn = make_turn(melody, rng, error_s=0.0)
    bar_s = 4 * melody.metre[0] / melody.metre[1] * turn.quarter_s
    onset_s = np.array([s.onset_s for s in turn.strikes])
    pitch = np.array([int(known(s.pitch, "a strike's pitch")) for s in turn.strikes])
    lead = np.array([bool(note and note.melody) for note in turn.truth])
    small = np.array([bool(note and note.grace) for note in turn.truth])
    return Case(melody.name, onset_s, pitch, melody.metre, turn.fifths, turn.start_s, bar_s, lead, graces=small)


def bend(case: Case, kind: str, rng: np.random.Generator) -> Callable[[np.ndarray], np.ndarray]:
    """The way the turn's time is bent: seconds at a steady tempo to seconds of the turn."""
    first, last = float(case.onset_s[0]), float(case.onset_s[-1])
    if kind == "ritardando":
        length = min(float(rng.uniform(1.0, 2.5)) * case.bar_s, 0.25 * (last - first))
        slow = float(rng.uniform(0.4, 0.9))  # the last moment goes 1.4 to 1.9 times as slow
        power = float(rng.uniform(1.0, 2.0))

        def late(at: np.ndarray) -> np.ndarray:
            share = np.maximum(0.0, (at - (last - length)) / length)
            return at + length * slow * share ** (1 + power) / (1 + power)

        return late
    if kind == "fermata":
        moments = np.unique(np.round(case.onset_s, 6))
        gaps = np.diff(moments)
        middle = (moments[:-1] > first + 0.2 * (last - first)) & (moments[:-1] < first + 0.85 * (last - first))
        long = np.flatnonzero(middle & (gaps >= np.percentile(gaps[middle], 80)))
        at_s = moments[int(rng.choice(long))]
        gap = float(gaps[moments[:-1] == at_s][0])
        more = float(rng.uniform(0.5, 1.4)) * gap
        return lambda at: at + more * np.clip((at - at_s) / gap, 0.0, 1.0)
    if kind.startswith("drift"):
        size = float(kind.split()[1]) / 100.0
        waves = float(rng.uniform(0.5, 1.2))
        phase = float(rng.uniform(0, 2 * np.pi))
        omega = 2 * np.pi * waves / (last - first)
        return lambda at: at + size / omega * (np.sin(omega * (at - first) + phase) - np.sin(phase))
    return lambda at: at


ORNAMENTS = ("grace", "slide", "turn", "mordent", "trill")


def ornamented(case: Case, rng: np.random.Generator) -> tuple[Case, np.ndarray]:
    """The case with ornaments before, or on, an eighth of its long melody notes; whether each strike is one, those
    that the print has included.

    A grace is a second or third away and comes 40 to 90 ms before; the notes of the others are 45 to 75 ms apart. The
    strikes of a trill after its first are the ornament. From what players' handbooks of 1750 to 1830 ask, from memory.
    """
    small = np.zeros(len(case.onset_s), bool) if case.graces is None else case.graces
    line = np.flatnonzero(case.melody & ~small)
    gaps = np.diff(np.r_[case.onset_s[line], case.onset_s[line[-1]] + 0.5])
    long = line[(gaps >= max(0.25, float(np.median(gaps)))) & (np.r_[1.0, gaps[:-1]] > 0.24)]
    chosen = rng.choice(long, size=max(1, len(long) // 8), replace=False).tolist() if len(long) else []
    added: list[tuple[float, int]] = []
    for index in chosen:
        kind = ORNAMENTS[int(rng.choice(5, p=[0.6, 0.1, 0.12, 0.1, 0.08]))]
        at, pitch = float(case.onset_s[index]), int(case.pitch[index])
        added += _ornament(kind, at, pitch, float(gaps[list(line).index(index)]), rng)
    onset_s = np.r_[case.onset_s, [at for at, _ in added]]
    order = np.argsort(onset_s, kind="stable")
    flags = np.r_[small, np.ones(len(added), bool)]
    pitch = np.r_[case.pitch, np.array([p for _, p in added], dtype=case.pitch.dtype)]
    melody = np.r_[case.melody, np.ones(len(added), bool)]
    return replace(case, onset_s=onset_s[order], pitch=pitch[order], melody=melody[order]), flags[order]


def _ornament(kind: str, at: float, pitch: int, length_s: float, rng: np.random.Generator) -> list[tuple[float, int]]:
    apart = float(rng.uniform(0.045, 0.075))
    up, down = int(rng.integers(1, 3)), int(rng.integers(1, 3))
    if kind == "grace":
        step = int(rng.choice([1, 2, 2, 3, -1, -2]))
        return [(at - float(rng.uniform(0.04, 0.09)), pitch + step)]
    if kind == "trill":
        count = min(10, int(length_s * 0.7 / apart)) // 2 * 2
        return [(at + k * apart, pitch + up * (k % 2)) for k in range(1, count)] if count >= 6 else []
    notes = {"slide": (-up - down, -down), "turn": (up, 0, -down), "mordent": (0, -down)}[kind]
    return [(at - (len(notes) - k) * apart, pitch + step) for k, step in enumerate(notes)]


def two_tunes(one: Case, other: Case, rng: np.random.Generator) -> tuple[Case, Case, float]:
    """(the first's strikes, the other's moved behind them, where the other's first bar begins), halves of a turn each.

    Between them a silence of 0.4 to 2.5 s beyond the first's last note.
    """
    first = _opening_bars(one, int(rng.choice([8, 12, 16])))
    second = _opening_bars(other, int(rng.choice([8, 12, 16])))
    begin_s = float(first.onset_s.max()) + 0.3 + float(rng.uniform(0.4, 2.5))
    shift = begin_s - float(second.onset_s.min())
    moved = replace(second, onset_s=second.onset_s + shift, start_s=second.start_s + shift)
    return first, moved, moved.start_s


def _opening_bars(case: Case, bars: int) -> Case:
    keep = case.onset_s < case.start_s + bars * case.bar_s - 1e-6
    return replace(case, onset_s=case.onset_s[keep], pitch=case.pitch[keep], melody=case.melody[keep])
