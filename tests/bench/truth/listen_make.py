"""Recordings of the usual make: most notes have two or three teeth, some of them off their table, people talk.

A tune goes to a comb whose frequent notes have twins, which take turns; some teeth sound up to 120 cents off the table
they are given with; pins are short, bent or gone; a tip too wide takes its neighbour along some milliseconds after the
strike; somebody speaks (espeak-ng), a watch ticks, the recorder has gain control and stores with losses. Drawn from a
seed; truth is what was put in.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import soundfile

from tests.bench.truth import listen_set
from tests.bench.truth import listen_sounds as s
from tests.bench.truth.listen_set import Plucked, Spec, Turn, put
from tests.bench.truth.listen_sounds import RATE

SENTENCES = (
    "just a moment, I will do that one again", "this one is the next tooth", "can you hold the lamp, please",
    "was that the seventh or the eighth", "noch einmal von vorn", "that did not sound very clear", "mind the spring",
    "where did I put the small pliers", "gut, weiter", "I think it is the one beside it",
)  # fmt: skip
TONGUES = ("en", "en-us", "de", "fr", "nl", "en+f3", "de+m4")
SPEECH_DB = -24.0
TWIN_SHARE = 0.62  # of the strikes, on notes with more than one tooth


@cache
def spoken(words: str, tongue: str) -> np.ndarray:
    """One sentence at RATE, RMS 1."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        subprocess.run(["espeak-ng", "-v", tongue, "-w", str(path), words], check=True, capture_output=True)
        audio, rate = soundfile.read(path)
    from scipy.signal import resample_poly

    g = np.gcd(int(rate), RATE)
    audio = resample_poly(audio, RATE // g, int(rate) // g)
    return audio / np.sqrt(np.mean(audio**2))


def usual_comb(rng: np.random.Generator, notes: int, count: int) -> tuple[dict[int, float], list[tuple[float, int]]]:
    """(true pitch by tooth before anything is off, strikes): frequent notes get twins until TWIN_SHARE is reached."""
    steps = rng.choice([2, 2, 1, 2, 2, 1, 3], notes - 1)
    scale = np.r_[0, np.cumsum(steps)] + int(rng.integers(62, 74))
    scale = scale[scale < 99].astype(float)
    slots = int(count / 2.4)
    grid = np.linspace(0.02, 0.97, slots)
    at, events = len(scale) // 2, []
    for k in range(slots):
        chord = set()
        if rng.random() < 0.85:
            at = int(np.clip(at + rng.choice([-2, -1, -1, 0, 0, 1, 1, 2]), len(scale) // 3, len(scale) - 1))
            chord.add(at)
        if k % 2 == 0:
            chord |= set(rng.choice(len(scale) * 2 // 3, int(rng.integers(1, 4)), replace=False).tolist())
        events += [(float(grid[k]), note) for note in chord]
    uses = Counter(note for _, note in events)
    doubled: dict[int, int] = {}
    covered = 0
    for note, n in uses.most_common():
        if covered > TWIN_SHARE * len(events):
            break
        doubled[note] = 3 if rng.random() < 0.15 else 2
        covered += n
    teeth: dict[int, float] = {}
    of_note: dict[int, list[int]] = {}
    shift = 12 * np.log2(rng.uniform(425, 448) / 440)
    for note, pitch in enumerate(scale):
        base = pitch + shift + rng.normal(0, 0.04)
        for _ in range(doubled.get(note, 1)):
            off = 0.0 if note not in doubled else rng.normal(0, 0.005 if rng.random() < 0.25 else 0.14)
            number = len(teeth) + 1
            teeth[number] = float(base + np.clip(off, -0.4, 0.4))
            of_note.setdefault(note, []).append(number)
    strikes: list[tuple[float, int]] = []
    turn_of = Counter[int]()
    for where, note in events:
        mine = of_note[note]
        strikes.append((where, mine[turn_of[note] % len(mine)]))
        turn_of[note] += 1 if rng.random() < 0.9 else 0
    return teeth, sorted(strikes)


def speech_over(
    rng: np.random.Generator, audio: np.ndarray, clean_rms: float, count: int, db: float
) -> list[tuple[float, float]]:
    """Adds so many sentences; where they stand, in s."""
    spans = []
    for _ in range(count):
        piece = spoken(str(rng.choice(SENTENCES)), str(rng.choice(TONGUES)))
        start = float(rng.uniform(0.5, max(0.6, len(audio) / RATE - len(piece) / RATE - 0.5)))
        put(audio, piece * clean_rms * 10 ** (db / 20), start)
        spans.append((start, start + len(piece) / RATE))
    return sorted(spans)


def gain_controlled(audio: np.ndarray, strength: float) -> np.ndarray:
    """A recorder's gain control: the slow level raised to the power 1 - strength."""
    from scipy.signal import lfilter

    k = 1 - np.exp(-1 / (0.3 * RATE))
    level = np.sqrt(lfilter([k], [1, k - 1], audio**2) + 1e-8)
    usual = np.sqrt(np.mean(audio**2))
    return audio * (level / usual + 0.1) ** -strength


def made_turn(
    name: str, seed: int, voice_name: str, notes: int, count: int, noise_db: float, tick: float, speech: int,
    agc: float, container: str, late: float, turns: float, rate: int = RATE, room: float = 0.1, whirr: float = 0.0,
) -> Turn:  # fmt: skip
    """One recorded turn of the usual make."""
    rng = np.random.default_rng(seed)
    voice = listen_set.voice_of(rng, voice_name)
    comb, strikes = usual_comb(rng, notes, count)
    teeth = sorted(comb)
    off = {}
    for tooth in rng.permutation(teeth)[: int(rng.choice([0, 1, 1, 2]))]:
        off[int(tooth)] = float(rng.choice([-1, 1]) * rng.uniform(0.25, 1.2))
    table = {t: round(p + float(rng.normal(0, 0.025)) - off.get(t, 0.0), 3) for t, p in comb.items()}
    period = float(rng.uniform(28, 50))
    t, turned, v, revolution = _course(rng, period, turns, late)
    lead_s = rng.uniform(0.3, 1.5)
    skip_s = float(np.interp(late, turned, t)) if late else -lead_s
    end_s = float(np.interp(turns, turned, t))
    n = int((end_s - skip_s + 1.5) * RATE)
    audio = np.zeros(n)
    uses = Counter(tooth for _, tooth in strikes)
    seldom = [tooth for tooth in teeth if 1 <= uses[tooth] <= 6]
    dead = {int(rng.choice(seldom))} if seldom and rng.random() < 0.4 else set()
    silent = {i for i, (_, tooth) in enumerate(strikes) if tooth in dead or rng.random() < 0.035}
    weak = {i: float(rng.uniform(0.1, 0.35)) for i in range(len(strikes)) if i not in silent and rng.random() < 0.04}
    shift = {i: rng.choice([-1, 1]) * rng.uniform(0.05, 0.1) for i in range(len(strikes)) if rng.random() < 0.015}
    balance = {tooth: np.exp(rng.normal(0, 0.25)) for tooth in comb}
    extras = _extras(rng, comb, strikes, dead, silent, count)
    events = []
    for lap in range(int(np.ceil(turns)) + 1):
        for i, (u, tooth) in enumerate(strikes):
            if i not in silent and u + lap <= turns:
                at = float(np.interp(u + lap, turned, t)) + shift.get(i, 0.0) - skip_s
                events.append((at, tooth, i, weak.get(i, 1.0)))
        for u, tooth, lag, force in extras:
            if u + lap <= turns:
                events.append((float(np.interp(u + lap, turned, t)) + lag - skip_s, tooth, -1, force))
    onsets, extra, struck = [], [], set()
    for at, tooth, i, force in sorted(events):
        if at < 0.0 or at > n / RATE - 0.4:
            continue
        sound = voice.note(tooth, comb[tooth], 4.0, balance[tooth] * force * np.exp(rng.normal(0, 0.12)))
        put(audio, sound.audio, at)
        onsets.append((at, sound.pitch, tooth))
        struck.add(i)
        if i < 0:
            extra.append((at, sound.pitch))
    clean = s.in_a_room(rng, audio, room) if room else audio
    rms = float(np.sqrt(np.mean(clean**2)))
    audio = listen_set.surroundings(rng, clean, noise_db, tick, int(rng.integers(0, 4)), 0.0)
    spans = speech_over(rng, audio, rms, speech, SPEECH_DB)
    speed_now = np.interp(np.arange(n) / RATE + skip_s, t, v, left=0.0)
    if whirr:
        phase = 2 * np.pi * np.cumsum(rng.uniform(180, 420) * speed_now) / RATE
        audio = audio + whirr * rms * sum(np.sin(k * phase + rng.uniform(0, 6)) / k for k in (1, 2, 3))
    audio = gain_controlled(audio, agc) if agc else audio
    heard = {tooth: p for _, p, tooth in onsets}
    said = {k: round(table[k] + heard.get(k, p) - p, 3) for k, p in comb.items()}
    grid = np.arange(max(0.0, -skip_s) + 0.5, n / RATE - 1.8, 0.05)
    spoil = rng.normal(0, 0.09 / 360, len(strikes))
    listed = [(float((u + e) % 1.0), tooth) for (u, tooth), e in zip(strikes, spoil, strict=True)]
    return Turn(
        name, listen_set.level(audio, False), said, listed, onsets, sorted(silent), extra, sorted(struck & weak.keys()),
        [], revolution, np.c_[grid, np.interp(grid + skip_s, t, v) * revolution / period], bool(whirr), container, rate,
        None, tuple(w for w, so in (("starts late", late), ("two turns", turns > 1.5)) if so),
        {
            "dead": dead, "shift": {i: float(d) for i, d in shift.items() if i in struck}, "speech": spans,
            "off_table": {tooth: 100 * (heard[tooth] - said[tooth]) for tooth in off if tooth in heard},
            "hint_s": period * float(rng.uniform(0.93, 1.07)),
        },
    )  # fmt: skip


def _course(
    rng: np.random.Generator, period: float, turns: float, late: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """(times, turns done, speed against the mean, s of a revolution of the running disc)."""
    t = np.arange(0, period * turns * 1.6 + 5, 0.001)
    v = 1 + rng.uniform(0.01, 0.06) * (0.5 - t / (period * turns))
    v += 0.01 * np.sin(2 * np.pi * t / rng.uniform(7, 20) + rng.uniform(0, 6))
    v += rng.uniform(0.002, 0.012) * np.sin(2 * np.pi * rng.uniform(0.5, 4.0) * t + rng.uniform(0, 6))
    running = np.cumsum(v) * 0.001 / period
    v = v * (1 - np.exp(-t / 0.08))
    turned = np.cumsum(v) * 0.001 / period
    whole = max(1, int(turns - late + 1e-6))
    revolution = float(np.interp(late + whole, running, t) - np.interp(late, running, t)) / whole
    return t, turned, v, revolution


def _extras(
    rng: np.random.Generator, comb: dict[int, float], strikes: list[tuple[float, int]], dead: set[int],
    silent: set[int], count: int,
) -> list[tuple[float, int, float, float]]:  # fmt: skip
    """(fraction of a turn, tooth, s later, force): half of them a neighbour that a strike takes along."""
    found: list[tuple[float, int, float, float]] = []
    for k in range(int(rng.integers(2, 2 + max(2, count // 30)))):
        for _ in range(60):
            i = int(rng.integers(len(strikes)))
            u, tooth = strikes[i]
            if k % 2:
                other, lag, force = tooth + int(rng.choice([-1, 1])), rng.uniform(0.002, 0.025), rng.uniform(0.35, 1.0)
                if i in silent or other not in comb or abs(comb[other] - comb[tooth]) < 0.6:
                    continue
            else:
                other, lag, force, u = int(rng.choice(list(comb))), 0.0, 1.0, float(rng.uniform(0.04, 0.95))
            busy = [w for w, o in strikes if abs(comb[o] - comb[other]) < 0.6] if other in comb else []
            if other not in dead and all(abs(w - u) > 0.008 for w in busy):
                found.append((u, other, float(lag), float(force)))
                break
    return found


def made_plucked(
    name: str, seed: int, voice_name: str, notes: int, noise_db: float, tick: float, knocks: int, speech: int,
    agc: float, container: str, room: float = 0.1, rate: int = RATE, faint: bool = True,
) -> Plucked:  # fmt: skip
    """A comb of the usual make plucked in turn, twice each; a dead tooth's click may be no louder than the ticks."""
    rng = np.random.default_rng(seed)
    voice = listen_set.voice_of(rng, voice_name)
    comb, _ = usual_comb(rng, notes, 120)
    numbers = sorted(comb)
    conditions = dict.fromkeys(numbers, "sound")
    order = [int(v) for v in rng.permutation(numbers)]
    dead, buzzing = max(1, len(numbers) // 10), max(1, len(numbers) // 12)
    conditions |= dict.fromkeys(order[:dead], "dead") | dict.fromkeys(order[dead : dead + buzzing], "buzzing")
    for tooth in order[dead + buzzing :]:
        if tooth + 1 in comb and abs(comb[tooth + 1] - comb[tooth]) > 0.5:
            conditions[tooth] = "doubled"
            break
    pair_gap, tooth_gap = rng.uniform(0.7, 1.3), rng.uniform(0.9, 1.8)
    length = int((3 + len(numbers) * (pair_gap + tooth_gap) * 1.2 + 4) * RATE)
    audio = np.zeros(length)
    at, rows = 1.0 + rng.uniform(0, 1.0), []
    for k, tooth in enumerate(numbers):
        times, sound = [], None
        for pluck in range(2):
            times.append(at)
            wait = (pair_gap if pluck == 0 else tooth_gap) * np.exp(rng.normal(0, 0.12))
            force = np.exp(rng.normal(0, 0.2))
            if conditions[tooth] == "dead":
                piece = force * (0.35 if faint and rng.random() < 0.5 else 1.0) * s.dead_click(rng, comb[tooth])
            else:
                damping = rng.uniform(0.4, 0.8) if conditions[tooth] == "buzzing" else 1.0
                sound = voice.note(tooth, comb[tooth], min(wait, 5.0), force, damping)
                piece = sound.audio
                if conditions[tooth] == "buzzing":
                    piece = s.add_buzz(rng, piece, sound.pitch, (seed + k) % 4)
                if conditions[tooth] == "doubled":
                    piece = (
                        piece
                        + voice.note(tooth + 1, comb[tooth + 1], min(wait, 5.0), force * rng.uniform(0.3, 0.6)).audio[
                            : len(piece)
                        ]
                    )
            piece = piece.copy()
            fade = min(len(piece), int(0.015 * RATE))
            piece[-fade:] *= np.linspace(1, 0, fade)
            put(audio, piece, at)
            at += wait
        rows.append({
            "tooth": tooth, "condition": conditions[tooth], "plucks_s": times, "way": "",
            "pitch": sound.pitch if sound else None, "t60_s": sound.t60_s if sound else None,
        })  # fmt: skip
    audio = audio[: int((at + 1.5) * RATE)]
    audio = s.in_a_room(rng, audio, room) if room else audio
    rms = float(np.sqrt(np.mean(audio**2)))
    audio = listen_set.surroundings(rng, audio, noise_db, tick, knocks, 0.0)
    spans = speech_over(rng, audio, rms, speech, SPEECH_DB)
    audio = gain_controlled(audio, agc) if agc else audio
    return Plucked(name, listen_set.level(audio, False), rows, 2, noise_db < 20, container, rate, spans)


CONTAINERS = ("wav", "mp3", "m4a", "ogg", "flac")


def draw_make(letter: str, seed: int, voices: tuple[str, ...], turns: int, combs: int) -> list[Spec]:
    """So many turns and combs, voices in order; one in three with speech, half with ticks, one in three with gain
    control."""
    rng = np.random.default_rng(seed)
    specs: list[Spec] = []
    for k in range(turns):
        voice = voices[k % len(voices)]
        late, length = ((0.0, 1.0), (0.0, 1.0), (float(rng.uniform(0.2, 0.5)), 1.6), (0.0, 1.6))[int(rng.choice(4))]
        specs.append((made_turn, {
            "name": f"{letter}t{k}-{voice}", "seed": seed * 100 + k, "voice_name": voice,
            "notes": int(rng.integers(12, 20)), "count": int(rng.integers(110, 190)),
            "noise_db": float(rng.choice([18.0, 24.0, 30.0, 36.0])),
            "tick": float(rng.uniform(0.015, 0.04)) if rng.random() < 0.5 else 0.0,
            "speech": int(rng.integers(1, 3)) if k % 3 == 0 else 0, "agc": float(rng.choice([0.0, 0.0, 0.4])),
            "container": str(rng.choice(CONTAINERS)), "late": late, "turns": length,
            "room": float(rng.choice([0.05, 0.15])), "whirr": float(rng.choice([0.0, 0.0, 0.1])),
        }))  # fmt: skip
    for k in range(combs):
        voice = voices[(k + turns) % len(voices)]
        specs.append((made_plucked, {
            "name": f"{letter}p{k}-{voice}", "seed": seed * 100 + 50 + k, "voice_name": voice,
            "notes": int(rng.integers(11, 18)), "noise_db": float(rng.choice([18.0, 24.0, 30.0, 36.0])),
            "tick": float(rng.uniform(0.02, 0.06)) if rng.random() < 0.5 else 0.0, "knocks": int(rng.integers(0, 5)),
            "speech": int(rng.integers(1, 4)) if k % 2 == 0 or letter == "c" else 0,
            "agc": float(rng.choice([0.0, 0.0, 0.4])),
            "container": str(rng.choice(CONTAINERS)), "room": float(rng.choice([0.05, 0.15])),
        }))  # fmt: skip
    return specs


def ringing_turn(seed: int, number: int) -> Spec:
    """A turn of the usual make of something modelled (listen_sounds.RATIOS, in turn), without speech: needs neither
    sound fonts nor espeak-ng."""
    rng = np.random.default_rng([seed, number])
    kind = tuple(s.RATIOS)[number % len(s.RATIOS)]
    late, length = ((0.0, 1.0), (0.0, 1.0), (float(rng.uniform(0.2, 0.5)), 1.6), (0.0, 1.6))[int(rng.choice(4))]
    return (made_turn, {
        "name": f"{kind}-{number}", "seed": seed * 100_000 + number, "voice_name": kind,
        "notes": int(rng.integers(12, 20)), "count": int(rng.integers(110, 190)),
        "noise_db": float(rng.choice([18.0, 24.0, 30.0, 36.0])),
        "tick": float(rng.uniform(0.015, 0.04)) if rng.random() < 0.5 else 0.0, "speech": 0,
        "agc": float(rng.choice([0.0, 0.0, 0.4])), "container": "wav", "late": late, "turns": length,
        "room": float(rng.choice([0.05, 0.15])), "whirr": float(rng.choice([0.0, 0.0, 0.1])),
    })  # fmt: skip


def draw_ringing(seed: int, of_each: int) -> list[Spec]:
    """Eight rows of so many turns, as eight processes draw them."""
    return [ringing_turn(seed, row * 1000 + k) for row in range(8) for k in range(of_each)]


# Of what is modelled, for fitting: of each of its eight rows the first so many.
RINGING_SEED = 41

# Of what is modelled, for judging: 64 turns, measured once.
RINGING_LAST = draw_ringing(83, 8)

# Looked at while choosing.
MAKE = draw_make("q", 901, ("bar", "fluid-10", "tim-8", "muse-9", "bar", "fluid-108", "muse-11", "bar"), 8, 8)
# What the weights are fitted to, by whole sources left out.
FIT_VOICES = (
    "bar", "fluid-10", "tim-8", "muse-9", "bar", "fluid-108", "muse-11", "tim-10",
    "bar", "muse-12", "fluid-8", "tim-46", "bar", "fluid-15", "muse-108", "tim-13",
)  # fmt: skip
MAKE_FIT = draw_make("f", 902, FIT_VOICES, 48, 0)
# Turns of sources in no other draw: looked at while choosing, then fitted to as well.
OTHER_VOICES = (
    "muse-13", "tim-12", "fluid-46", "muse-8", "bar", "fluid-11", "tim-15", "muse-107", "fluid-24", "tim-9", "muse-14",
    "bar",
)  # fmt: skip
MAKE_OTHER = draw_make("v", 955, OTHER_VOICES, 12, 0)
# Measured once, at the end; of its eight sources six are in no other draw.
UNSEEN_VOICES = ("bar", "muse-10", "tim-108", "fluid-4", "bar", "muse-46", "fluid-9", "tim-107")
MAKE_UNSEEN = draw_make("z", 977, UNSEEN_VOICES, 16, 16)
# Measured once, after silences had been mended by what MAKE_OTHER and MAKE_FIT showed; seven of its eight sources are
# in no other draw of this make.
LAST_VOICES = ("bar", "fluid-13", "tim-11", "muse-15", "fluid-107", "tim-14", "muse-4", "fluid-12")
MAKE_LAST = draw_make("y", 1033, LAST_VOICES, 8, 8)
# Measured once, after swings of the speed and early and late strikes had been mended by what MAKE_OTHER and MAKE_UNSEEN
# showed; three of its four sources are in no other draw of this make. Looked at, and fitted to, later on.
FRESH_VOICES = ("bar", "muse-24", "tim-4", "fluid-106")
MAKE_FRESH = draw_make("x", 1151, FRESH_VOICES, 8, 4)
# Turns alone, measured once after silences that are not ruled out were left open; none of its sources is in another
# draw of this make. Looked at, and fitted to, later on.
AFTER_VOICES = ("tim-24", "fluid-5", "muse-114", "fluid-26")
MAKE_AFTER = draw_make("u", 1187, AFTER_VOICES, 8, 0)
# Turns alone, measured once after dead teeth were told by all of their strikes and what companions leave by their other
# strikes; none of its eight sources is in another draw of this make. Looked at afterwards.
FINAL_VOICES = ("muse-26", "tim-5", "fluid-112", "muse-106", "fluid-6", "fluid-114", "muse-25", "tim-106")
MAKE_FINAL = draw_make("s", 1291, FINAL_VOICES, 8, 0)
# Turns of eight more sources, measured once after what MAKE_FINAL showed had been mended: teeth that speak late, a low
# tooth off its table.
END_VOICES = ("muse-5", "fluid-105", "tim-25", "muse-112", "fluid-7", "tim-6", "muse-105", "bar")
MAKE_END = draw_make("r", 1321, END_VOICES, 8, 0)
# Of eight sources in no other draw, turns and combs, measured once after the numbering of plucked combs had got its
# odds: combs also of what is modelled.
NEXT_VOICES = ("muse-6", "fluid-14", "tim-7", "muse-7", "fluid-25", "tim-26", "tim-105", "tim-112")
MAKE_NEXT = draw_make("n", 2311, NEXT_VOICES, 8, 16)
MAKE_NEXT_COMBS = draw_make("m", 2317, ("bar", *NEXT_VOICES[:3], "bar", *NEXT_VOICES[3:6]), 0, 16)
# Combs alone, more of them with speech: looked at while choosing.
MAKE_COMBS = draw_make("c", 903, ("bar", "fluid-10", "bar", "muse-12", "tim-8", "bar", "fluid-15", "muse-108"), 0, 12)
