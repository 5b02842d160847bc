"""Invented discs with known damage, for measuring and fitting `disc check`. Not part of the package.

A tune of the corpus that comes with music21 (ABC collections, repeats played out) gets an accompaniment in one of five
styles, a comb that fits it, pins on both faces with setting errors, and then damage; what a photo reading would give of
it is returned beside the truth. Everything is drawn from one numpy Generator.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import music21
import numpy as np

from disc.frame import theta_for, turn_for_onset_deg
from disc.library.read.reference import tunes_of_abc
from disc.library.records import ReferenceTune
from disc.records import Comb, Condition, Key, Metre, Note, Pin, Plate, Side, Tooth, Tune, Turns, Voice
from disc.tune.score.records import TICKS_PER_QUARTER
from tests.bench.truth.known import known

COLLECTIONS = ("airdsAirs", "oneills1850", "ryansMammoth", "essenFolksong")
Timed = tuple[Fraction, Fraction, int]  # onset and duration in quarters, pitch
STYLES = ("bass and chord", "broken chord", "bass", "rolling", "thirds")
# As the brief of the benchmark has it.
SETTING_ERROR_S = 0.020
GONE_SHARE = (0.03, 0.12)
HOLE_SHARE = 0.5
ABANDONED = (1, 3)
LEANING = (2, 5)
# The rest is common practice, no source: what a fair photograph gives.
R_SETTING_MM = 0.02
READING_MM = 0.012
LEAN_SOUND_MM = 0.012
LEAN_READING_MM = 0.015
CALLED_BENT_IF_SOUND = 0.002
CALLED_BENT_IF_BENT = 0.95


@dataclass(frozen=True)
class Played:
    """One note of the disc as arranged. site: index of its pin; voice as arranged."""

    onset: Fraction
    pitch: int
    voice: Voice
    tooth: int
    onset_s: float


@dataclass(frozen=True)
class Simulated:
    """What a reading gives (pins) and what is true. gone: index of played notes; site_of: pin id -> truth."""

    name: str
    pins: tuple[Pin, ...]
    comb: Comb
    plate: Plate
    played: tuple[Played, ...]
    gone: frozenset[int]  # indices into played
    visible: frozenset[int]  # those of them that left a hole
    note_of: dict[int, int]  # pin id -> index into played
    abandoned: frozenset[int]  # pin ids
    leaning: frozenset[int]  # pin ids
    tune: Tune  # the true tune, for trials only: the benchmark reads its own
    melody: tuple[Timed, ...]  # printed melody: onset, duration, pitch (as on the disc)
    metre: Metre
    fifths: int
    style: str


# ------------------------------------------------------------------ tunes


@cache
def corpus_tunes(collections: tuple[str, ...] = COLLECTIONS) -> list[ReferenceTune]:
    """Tunes that suit a disc: 40 to 170 melody notes in one of the usual metres, repeats played out."""
    root = Path(music21.__file__).parent / "corpus"
    tunes = []
    for collection in collections:
        for path in sorted((root / collection).glob("*.abc")):
            tunes += tunes_of_abc(path.read_text(encoding="utf-8", errors="replace"), path.name, collection)
    return [tune for tune in tunes if _suits(tune)]


def _suits(tune: ReferenceTune) -> bool:
    span = int(tune.pitch.max() - tune.pitch.min())
    usual = tune.metre in {(2, 4), (3, 4), (4, 4), (2, 2), (6, 8), (3, 8), (9, 8)}
    return usual and 40 <= len(tune.pitch) <= 170 and 5 <= span <= 24


def choose(tunes: list[ReferenceTune], count: int, rng: np.random.Generator) -> list[ReferenceTune]:
    """A seeded draw, even over the collections."""
    by_collection = {c: [t for t in tunes if t.collection == c] for c in COLLECTIONS}
    drawn = []
    for k in range(count):
        pool = by_collection[COLLECTIONS[k % len(COLLECTIONS)]]
        drawn.append(pool[int(rng.integers(len(pool)))])
    return drawn


# ------------------------------------------------------------------ arrangement


def _melody(tune: ReferenceTune, shift: int) -> list[Timed]:
    first = tune.onset_tick[tune.bar >= 1].min() if (tune.bar >= 1).any() else 0
    return [
        (Fraction(int(t - first), TICKS_PER_QUARTER), Fraction(int(d), TICKS_PER_QUARTER), int(p) + shift)
        for t, d, p in zip(tune.onset_tick, tune.duration_tick, tune.pitch, strict=True)
    ]


def _chords(tonic: int, minor: bool) -> list[tuple[int, int, int]]:
    steps = [(0, 3, 7), (5, 8, 0), (7, 11, 2), (3, 7, 10)] if minor else [(0, 4, 7), (5, 9, 0), (7, 11, 2), (9, 0, 4)]
    return [((tonic + a) % 12, (tonic + b) % 12, (tonic + c) % 12) for a, b, c in steps]


def _harmony(
    melody: list[Timed], half: Fraction, count: int, chords: list[tuple[int, int, int]]
) -> list[tuple[int, int, int]]:
    """One chord for each half bar: the one that the melody sounds most, the last chord kept where it fits as well."""
    chosen: list[tuple[int, int, int]] = []
    for k in range(count):
        weight: dict[int, float] = defaultdict(float)
        for on, dur, pitch in melody:
            overlap = min(on + dur, half * (k + 1)) - max(on, half * k)
            if overlap > 0:
                weight[pitch % 12] += float(overlap)
        fits = [sum(weight[pc] for pc in chord) for chord in chords]
        fits[0] += 0.1
        if chosen:
            fits[chords.index(chosen[-1])] += 0.15
        if k == 0 or k >= count - 2:
            fits[0] += 1.0
        chosen.append(chords[int(np.argmax(fits))])
    return chosen


def _at_or_below(pc: int, top: int) -> int:
    return top - (top - pc) % 12


def accompaniment(melody: list[Timed], metre: Metre, style: str, tonic: int, minor: bool) -> list[Timed]:
    """Notes below the melody in one of STYLES, harmony by half bars (whole bars in three-time)."""
    bar = metre.bar_quarter
    triple = metre.beats in (3, 9)
    half = bar if triple else bar / 2
    end = max(on + dur for on, dur, _ in melody)
    count = int(-(-end // half))
    chords = _harmony(melody, half, count, _chords(tonic, minor))
    low = min(p for _, _, p in melody)
    top = low - 2
    eighths = int(half / Fraction(1, 2))
    notes = []
    for k, chord in enumerate(chords):
        start = half * k
        root = _at_or_below(chord[0], top - 7)
        inner = [root + (pc - root) % 12 for pc in chord[1:]]
        if style == "bass":
            notes.append((start, half, root))
        elif style == "bass and chord":
            steps = 3 if triple else 2
            for b in range(steps):
                length = half / steps
                notes.append((start + length * b, length, root if b == 0 else inner[(b + k) % 2 if triple else 0]))
                if b and k % 2 == 0:
                    notes.append((start + length * b, length, inner[1]))
        elif style == "broken chord":
            for b in range(max(eighths, 1)):
                pitch = (
                    [root, inner[1], inner[0], inner[1]][b % 4] if metre.beats not in (6, 9) else [root, *inner][b % 3]
                )
                notes.append((start + Fraction(b, 2), Fraction(1, 2), pitch))
        elif style == "rolling":
            for b, pitch in enumerate([root, *inner][: max(2, min(3, eighths))]):
                notes.append((start + half * b / max(2, min(3, eighths)), half, pitch))
        else:  # thirds: a second voice under the longer melody notes, and a bass on the bar
            notes.append((start, half, root)) if (start / bar).denominator == 1 else None
            for on, dur, p in melody:
                if start <= on < start + half and dur >= Fraction(1, 2) and (on * 2).denominator == 1:
                    below = next((p - s for s in (3, 4, 5, 8) if (p - s) % 12 in chord), None)
                    if below is not None:
                        notes.append((on, dur, below))
    return [n for n in notes if n[0] < end]


# ------------------------------------------------------------------ comb and pins


def _comb(need: Counter[int], radius: float, rng: np.random.Generator) -> Comb | None:
    pitches = sorted(need)
    if len(pitches) > 34:
        return None
    teeth = list(pitches)
    wish = min(max(len(pitches), int(rng.integers(18, 29))), 2 * int((0.58 * radius) / 0.36))
    while len(teeth) < wish:
        teeth.append(max(pitches, key=lambda p: (need[p] / teeth.count(p) ** 2, p)))
    teeth.sort()
    made = []
    for s, side in enumerate(Side):
        mine = [(k + 1, p) for k, p in enumerate(teeth) if k % 2 == s]
        space = min(0.62, 0.58 * radius / max(len(mine) - 1, 1))
        if space < 0.34:
            return None
        radii = 0.33 * radius + space * (np.arange(len(mine)) + rng.uniform(-0.08, 0.08, len(mine)))
        if s == 0:
            radii = radii[::-1]
        phi = rng.uniform(0, 360) + rng.choice([-1, 1]) * rng.uniform(2.5, 5.5) * np.arange(len(mine))
        for (number, pitch), r, angle in zip(mine, radii, phi, strict=True):
            cents = float(np.clip(rng.normal(-5, 6), -30, 30))
            made.append(
                Tooth(number, side, round(float(r), 3), round(float(angle % 360), 2), round(pitch + cents / 100, 2))
            )
    return Comb(tuple(sorted(made, key=lambda t: t.number)))


def _place(
    notes: list[tuple[Fraction, Fraction, int, Voice]], comb: Comb, plate: Plate, lead_deg: float
) -> list[Played]:
    """A tooth for each note; what would stand too close on every tooth of its pitch is left out, melody first."""
    start = min(n[0] for n in notes)
    last = max(n[0] for n in notes)
    lead_s = lead_deg / 360 * plate.revolution_s
    quarter_s = (plate.revolution_s - 2 * lead_s) / float(last - start)
    used: dict[int, list[float]] = {t.number: [] for t in comb.teeth}
    by_pitch: dict[int, list[Tooth]] = {}
    for tooth in comb.teeth:
        by_pitch.setdefault(round(known(tooth.pitch, "a tooth's pitch")), []).append(tooth)
    kept = []
    for on, _, pitch, voice in notes:
        t = lead_s + quarter_s * float(on - start)
        best, room = None, 0.0
        for tooth in by_pitch.get(pitch, []):
            need_s = max(0.40 / (2 * np.pi * tooth.tip_r_mm) * plate.revolution_s, 0.14)
            gap = min([abs(t - other) for other in used[tooth.number]] or [99.0])
            if gap > need_s and gap > room:
                best, room = tooth, gap
        if best is not None:
            used[best.number].append(t)
            kept.append(Played(on, pitch, voice, best.number, t))
    return sorted(kept, key=lambda p: (p.onset, p.pitch))


def _minor(tune: ReferenceTune, tonic_major: int) -> bool:
    return int(tune.pitch[-1]) % 12 == (tonic_major + 9) % 12


def simulate(tune: ReferenceTune, rng: np.random.Generator, damaged: bool = True) -> Simulated | None:
    """One disc of a tune; None where the tune does not fit a comb and a turn."""
    shift = int(rng.integers(74, 80)) - int(tune.pitch.min())
    melody = _melody(tune, shift)
    metre = Metre(*known(tune.metre, "a tune's metre"))
    tonic = (7 * tune.fifths + shift) % 12
    minor = _minor(tune, (7 * tune.fifths) % 12)
    style = STYLES[int(rng.integers(len(STYLES)))]
    backing = accompaniment(melody, metre, style, (tonic + 9) % 12 if minor else tonic, minor)
    if style == "broken chord" and len(melody) + len(backing) > 280:
        style, backing = "bass", accompaniment(melody, metre, "bass", (tonic + 9) % 12 if minor else tonic, minor)
    notes, seen = [], set()
    for group, voice in ((melody, Voice.MELODY), (backing, Voice.ACCOMPANIMENT)):
        for on, dur, pitch in sorted(group):
            if (on, pitch) not in seen:
                seen.add((on, pitch))
                notes.append((on, dur, pitch, voice))
    bars = float(max(n[0] for n in notes) / metre.bar_quarter)
    radius = float(rng.uniform(12.0, 17.0))
    # A bar of 1.0 to 2.2 s, as dances go; no turn beyond a minute and a quarter.
    revolution = float(np.clip(bars * rng.uniform(1.3, 2.0) * float(metre.bar_quarter) / 3.0, 28.0, 75.0))
    plate = Plate(2 * radius, Turns(rng.choice(list(Turns))), revolution, float(rng.uniform(10, 18)), 1.0, 3.2)
    comb = _comb(Counter(n[2] for n in notes), radius, rng)
    if comb is None:
        return None
    played = _place(notes, comb, plate, plate.rest_arc_deg / 2 + 1.0)
    if not 60 <= len(played) <= 320:
        return None
    return _pins(tune, played, comb, plate, melody, metre, style, rng, damaged)


def _pins(
    tune: ReferenceTune, played: list[Played], comb: Comb, plate: Plate, melody: list[Timed], metre: Metre, style: str,
    rng: np.random.Generator, damaged: bool,
) -> Simulated:  # fmt: skip
    teeth = {t.number: t for t in comb.teeth}
    diameter, height = float(rng.uniform(0.2, 0.28)), float(rng.uniform(0.4, 0.6))
    sites = []
    for note in played:
        tooth = teeth[note.tooth]
        # 20 ms stands for all errors along the motion; larger ones than three sigma a maker would have mended.
        late = float(np.clip(rng.normal(0, SETTING_ERROR_S), -3 * SETTING_ERROR_S, 3 * SETTING_ERROR_S))
        turned = turn_for_onset_deg(note.onset_s + late, plate.revolution_s)
        theta = float(theta_for(turned, known(tooth.tip_theta_deg, "a tip's angle"), plate.turns))
        lean = rng.normal(0, LEAN_SOUND_MM, 2)
        sites.append(
            Pin(
                0,
                tooth.side,
                tooth.tip_r_mm + float(rng.normal(0, R_SETTING_MM)),
                theta,
                diameter,
                height * float(rng.normal(1, 0.03)),
                Condition.SOUND,
                float(lean[0]),
                float(lean[1]),
            )
        )
    order = list(rng.permutation(len(sites)))
    gone: set[int] = set()
    leaning: set[int] = set()
    if damaged:
        for _ in range(round(float(rng.uniform(*GONE_SHARE)) * len(sites))):
            gone.add(int(order.pop()))
        for _ in range(int(rng.integers(LEANING[0], LEANING[1] + 1))):
            leaning.add(int(order.pop()))
    visible = {i for i in sorted(gone) if rng.random() < HOLE_SHARE}
    empty = _abandoned(sites, comb, plate, rng) if damaged else []
    entries: list[tuple[Pin, int | None, str]] = []
    for i, pin in enumerate(sites):
        if i in gone:
            if i in visible:
                flat = replace(pin, height_mm=0.0, condition=Condition.MISSING, lean_x_mm=None, lean_y_mm=None)
                entries.append((flat, i, "gone"))
        elif i in leaning:
            entries.append((_leaning(pin, plate, rng), i, "leaning"))
        else:
            entries.append((pin, i, "sound"))
    entries += [(pin, None, "abandoned") for pin in empty]
    rng.shuffle(entries)
    pins, note_of, abandoned, leaning_ids = [], {}, set(), set()
    for number, (pin, index, what) in enumerate(entries, start=1):
        pins.append(replace(_as_read(pin, rng), id=number))
        if index is not None:
            note_of[number] = index
        if what == "abandoned":
            abandoned.add(number)
        if what == "leaning":
            leaning_ids.add(number)
    first = min(p.onset for p in played)
    quarter_s = (played[-1].onset_s - played[0].onset_s) / float(played[-1].onset - played[0].onset)
    start_s = played[0].onset_s - float(first) * quarter_s
    true_tune = Tune(
        tuple(Note(p.onset, Fraction(1, 2), p.pitch, p.voice, tooth=p.tooth) for p in played),
        metre, Key(0, "major", tune.fifths), max(Fraction(0), -first), quarter_s, start_s, tune.title,
    )  # fmt: skip
    return Simulated(
        f"{tune.key}", tuple(pins), comb, plate, tuple(played), frozenset(gone), frozenset(visible), note_of,
        frozenset(abandoned), frozenset(leaning_ids), true_tune, tuple(melody), metre, tune.fifths, style,
    )  # fmt: skip


def _leaning(pin: Pin, plate: Plate, rng: np.random.Generator) -> Pin:
    size = float(rng.uniform(0.10, 0.40))
    along = np.radians(pin.theta_deg + 90 * rng.choice([-1, 1]) + rng.normal(0, 25))
    condition = Condition.BENT if rng.random() < CALLED_BENT_IF_BENT else Condition.SOUND
    return replace(
        pin, lean_x_mm=size * float(np.cos(along)), lean_y_mm=size * float(np.sin(along)), condition=condition
    )


def _abandoned(sites: list[Pin], comb: Comb, plate: Plate, rng: np.random.Generator) -> list[Pin]:
    """Holes given up: anywhere on the plate, somewhere along a track, or a slip beside a pin on its track."""
    radius = plate.diameter_mm / 2
    made: list[Pin] = []
    count = int(rng.integers(ABANDONED[0], ABANDONED[1] + 1))
    while len(made) < count:
        how = rng.choice(["anywhere", "track", "slip"])
        tooth = comb.teeth[int(rng.integers(len(comb.teeth)))]
        side, r, theta = tooth.side, tooth.tip_r_mm + float(rng.normal(0, R_SETTING_MM)), float(rng.uniform(0, 360))
        if how == "anywhere":
            side, r = Side(rng.choice(list(Side))), float(rng.uniform(0.33, 0.9) * radius)
        elif how == "slip":
            pin = sites[int(rng.integers(len(sites)))]
            side, r = pin.side, pin.r_mm + float(rng.normal(0, 0.05))
            theta = pin.theta_deg + float(np.degrees(rng.choice([-1, 1]) * rng.uniform(0.3, 0.7) / r))
        near = [
            np.hypot(r * np.cos(np.radians(theta)) - p.r_mm * np.cos(np.radians(p.theta_deg)),
                     r * np.sin(np.radians(theta)) - p.r_mm * np.sin(np.radians(p.theta_deg)))
            for p in (*sites, *made) if p.side is side
        ]  # fmt: skip
        if min(near) > 0.27:
            made.append(Pin(0, side, r, theta % 360, sites[0].diameter_mm, 0.0, Condition.MISSING))
    return made


def _as_read(pin: Pin, rng: np.random.Generator) -> Pin:
    """What a photo reading gives: errors of place, lean, height and now and then of condition."""
    dr, dt = rng.normal(0, READING_MM, 2)
    moved = replace(
        pin,
        r_mm=pin.r_mm + float(dr),
        theta_deg=float((pin.theta_deg + np.degrees(dt / pin.r_mm)) % 360.0),
        sigma_mm=READING_MM,
        confidence=float(np.clip(rng.normal(0.97, 0.01), 0, 0.995)),
    )
    if pin.condition is Condition.MISSING:
        return moved
    lean = rng.normal(0, LEAN_READING_MM, 2)
    condition = pin.condition
    lean_x_mm, lean_y_mm = known(pin.lean_x_mm, "a pin's lean"), known(pin.lean_y_mm, "a pin's lean")
    if condition is Condition.SOUND and np.hypot(lean_x_mm, lean_y_mm) < 0.06 and rng.random() < CALLED_BENT_IF_SOUND:
        condition = Condition.BENT
    return replace(
        moved,
        lean_x_mm=lean_x_mm + float(lean[0]),
        lean_y_mm=lean_y_mm + float(lean[1]),
        height_mm=max(known(pin.height_mm, "a pin's height") * float(rng.normal(1, 0.04)), 0.05),
        condition=condition,
    )
