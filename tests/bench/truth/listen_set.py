"""Recordings with known truth, from seeds: combs plucked in turn and one turn of a movement."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from tests.bench.truth import listen_sounds as s
from tests.bench.truth.listen_buzz import WAYS
from tests.bench.truth.listen_sounds import RATE


@dataclass
class Plucked:
    name: str
    audio: np.ndarray
    teeth: list[dict]  # tooth, pitch, t60_s, condition, plucks_s
    plucks: int = 2
    noisy: bool = False
    container: str = "wav"
    rate: int = RATE
    speech: list[tuple[float, float]] = field(default_factory=list)  # from, to: s


@dataclass
class Turn:
    name: str
    audio: np.ndarray
    comb: dict[int, float]
    strikes: list[tuple[float, int]]
    onsets: list[tuple[float, float, int]]
    silent: list[int]
    extra: list[tuple[float, float]]
    weak: list[int]  # strikes that are weak each time, of teeth that are not
    weak_teeth: list[int]
    revolution_s: float
    speed: np.ndarray  # (n, 2): time, ratio
    whirr: bool = False
    container: str = "wav"
    rate: int = RATE
    said_rate: int | None = None
    unusual: tuple[str, ...] = ()  # "starts late", "two turns", "wrong rate"
    notes: dict = field(default_factory=dict)


Spec = tuple[Callable[..., Plucked | Turn], dict[str, Any]]  # a maker, and what it is called with


def comb_pitches(rng: np.random.Generator, n: int) -> np.ndarray:
    """Rising pitches of a comb: a mode with some chromatic teeth and doubled ones, its own common pitch."""
    steps = sorted(rng.choice([2, 2, 1, 2, 2, 2, 1, 3, 0, 1], n - 1, replace=True).tolist(), key=lambda _: rng.random())
    start = rng.integers(58, 72)
    pitches = start + np.r_[0, np.cumsum(steps)]
    if pitches[-1] > 98:
        pitches = start + np.round((pitches - start) * (98 - start) / (pitches[-1] - start)).astype(int)
    a_offset = 12 * np.log2(rng.uniform(425, 448) / 440)
    return pitches + a_offset + rng.normal(0, 0.05, n)


def voice_of(rng: np.random.Generator, name: str) -> s.BarVoice | s.SampledVoice:
    """One of listen_sounds.RATIOS, or a sound font and the number of a General MIDI program: "fluid-8"."""
    if name in s.RATIOS:
        return s.BarVoice(rng, name)
    font, program = name.split("-")
    return s.SampledVoice(rng, s.FONTS[font], int(program))


def plucked(
    name: str,
    seed: int,
    voice_name: str,
    teeth: int,
    noise_db: float | None = None,
    tick: float = 0.0,
    knocks: int = 0,
    hum: float = 0.0,
    container: str = "wav",
    rate: int = RATE,
    clip: bool = False,
    gap: float = 0.0,
    damped: bool = True,
    room: float = 0.0,
    ways: tuple[str, ...] = (),
) -> Plucked:
    """ways: how teeth buzz, names of listen_buzz.WAYS, one drawn for each; none: the four ways of the first sets."""
    rng = np.random.default_rng(seed)
    voice = voice_of(rng, voice_name)
    pitches = comb_pitches(rng, teeth)
    pair_gap, tooth_gap = gap or rng.uniform(0.7, 1.3), gap or rng.uniform(0.9, 1.8)
    choked = rng.uniform(0.4, 0.8, teeth)  # of its ring time, where a tooth buzzes
    drawn = np.random.default_rng([seed, 1])
    way_of = drawn.choice(ways, teeth) if ways else None
    if ways:
        choked = np.where(drawn.random(teeth) < 0.25, 1.0, drawn.uniform(0.35, 1.0, teeth))
    conditions = np.array(["sound"] * teeth, dtype=object)
    faults = rng.permutation(teeth)
    dead, buzzing, doubled = max(1, teeth // 12), max(1, teeth // 10), 1
    conditions[faults[:dead]] = "dead"
    conditions[faults[dead : dead + buzzing]] = "buzzing"
    for k in faults[dead + buzzing :]:
        if doubled and 0 < k < teeth - 1 and abs(pitches[k + 1] - pitches[k]) > 0.5:
            conditions[k] = "doubled"
            doubled -= 1
    length = int((1.5 + teeth * (pair_gap + tooth_gap) * 1.1 + 4) * RATE)
    audio = np.zeros(length)
    at, rows = 1.0 + rng.uniform(0, 0.5), []
    for k in range(teeth):
        times, sound = [], None
        for pluck in range(2):
            times.append(at)
            wait = (pair_gap if pluck == 0 else tooth_gap) * np.exp(rng.normal(0, 0.08))
            ring = wait + (rng.uniform(0.0, 0.02) if damped else 2.0)
            force = np.exp(rng.normal(0, 0.2))
            if conditions[k] == "dead":
                piece = force * s.dead_click(rng, pitches[k])
            else:
                damping = choked[k] if conditions[k] == "buzzing" else 1.0
                sound = voice.note(k + 1, pitches[k], min(ring, 5.0), force, damping)
                piece = sound.audio
                if conditions[k] == "buzzing":
                    if way_of is None:
                        piece = s.add_buzz(rng, piece, sound.pitch, (seed + k) % 4)
                    else:  # both plucks alike
                        piece = WAYS[way_of[k]](np.random.default_rng([seed, k]), piece, sound.pitch)
                if conditions[k] == "doubled":
                    other = voice.note(k + 2, pitches[k + 1], min(ring, 5.0), force * rng.uniform(0.3, 0.6))
                    piece = piece + other.audio
            fade = min(len(piece), int(0.015 * RATE))
            piece = piece.copy()
            piece[-fade:] *= np.linspace(1, 0, fade)
            start = int(at * RATE)
            piece = piece[: length - start]
            audio[start : start + len(piece)] += piece
            at += wait
        rows.append(
            {
                "tooth": k + 1,
                "condition": conditions[k],
                "plucks_s": times,
                "pitch": sound.pitch if sound else None,
                "t60_s": sound.t60_s if sound else None,
                "way": str(way_of[k]) if way_of is not None and conditions[k] == "buzzing" else "",
            }
        )
    audio = audio[: int((at + 1.5) * RATE)]
    audio = s.in_a_room(rng, audio, room) if room else audio
    audio = surroundings(rng, audio, noise_db, tick, knocks, hum)
    return Plucked(name, level(audio, clip), rows, 2, noise_db is not None, container, rate)


def surroundings(
    rng: np.random.Generator, audio: np.ndarray, noise_db: float | None, tick: float, knocks: int, hum: float
) -> np.ndarray:
    """The sound in room noise, with a watch's ticks, mains hum and handling, as far as they are asked for."""
    n = len(audio)
    rms = np.sqrt(np.mean(audio**2))
    out = audio + s.room_noise(rng, n) * rms * 10 ** (-(noise_db if noise_db is not None else 45.0) / 20)
    if tick:
        out += s.ticks(rng, n, rng.choice([5.0, 5.5, 6.0, 4.0]), tick)
    if hum:
        out += s.hum(n, hum)
    for _ in range(knocks):
        piece = s.knock(rng) * rng.uniform(0.05, 0.3) if rng.random() < 0.5 else s.rustle(rng) * rng.uniform(0.05, 0.3)
        start = int(rng.uniform(0, (n / RATE) - 0.5) * RATE)
        out[start : start + len(piece)] += piece[: n - start]
    return out


def level(audio: np.ndarray, clip: bool) -> np.ndarray:
    peak = np.abs(audio).max()
    return np.clip(audio * 2.0 / peak, -1, 1) if clip else audio * 0.8 / peak


def put(audio: np.ndarray, piece: np.ndarray, at_s: float) -> None:
    """Add a piece where it begins, as far as it fits."""
    start = int(at_s * RATE)
    piece = piece[: len(audio) - start]
    audio[start : start + len(piece)] += piece


def tune_strikes(
    rng: np.random.Generator, pitches: dict[int, float], count: int, rest: float
) -> list[tuple[float, int]]:
    """Strikes on a grid of beats: a melody that walks, chords under it, no tooth sooner again than it can ring."""
    teeth = sorted(pitches, key=pitches.__getitem__)
    slots = int(rng.choice([48, 64, 72, 96]))
    grid = np.linspace(rest / 2 + 0.005, 1 - rest / 2 - 0.01, slots)
    last = dict.fromkeys(teeth, -9)
    strikes: list[tuple[float, int]] = []
    at = len(teeth) // 2
    while len(strikes) < count:
        strikes = []
        last = dict.fromkeys(teeth, -9)
        for k in range(slots):
            wanted = []
            if rng.random() < min(0.95, count / slots * 0.7):
                at = int(np.clip(at + rng.integers(-3, 4), len(teeth) // 3, len(teeth) - 1))
                wanted.append(teeth[at])
            if k % 4 == 0 or rng.random() < 0.2:
                wanted += [teeth[j] for j in rng.choice(len(teeth) * 2 // 3, rng.integers(1, 4), replace=False)]
            for tooth in dict.fromkeys(wanted):
                if k - last[tooth] >= 2:
                    last[tooth] = k
                    strikes.append((float(grid[k] + rng.normal(0, 0.00008)), tooth))
        count -= 4
    return sorted(strikes)


def turn(
    name: str,
    seed: int,
    voice_name: str,
    teeth: int,
    count: int,
    noise_db: float | None = None,
    tick: float = 0.0,
    knocks: int = 0,
    whirr: float = 0.0,
    container: str = "wav",
    rate: int = RATE,
    said_rate: int | None = None,
    late: float = 0.0,
    turns: float = 1.0,
    clip: bool = False,
    drift: float = 0.05,
    revolution_s: float = 0.0,
    sympathy: float = 0.0,
    room: float = 0.0,
    weak: int = 0,
) -> Turn:
    """weak: so many strikes, and half as many teeth, sound weakly each time: pins too short, teeth too far away."""
    rng = np.random.default_rng(seed)
    voice = voice_of(rng, voice_name)
    pitches = comb_pitches(rng, teeth)
    numbers = rng.permutation(teeth) + 1 if rng.random() < 0.3 else np.arange(teeth) + 1
    comb = {int(n): float(p) for n, p in zip(numbers, pitches, strict=True)}
    period = revolution_s or rng.uniform(30, 55)
    strikes = tune_strikes(rng, comb, count, 14 / 360)
    # The speed over time, the turn by summing it up.
    step = 0.001
    t = np.arange(0, period * turns * 1.6 + 5, step)
    v = 1 + drift * (0.5 - t / (period * turns)) + 0.01 * np.sin(2 * np.pi * t / rng.uniform(7, 20) + rng.uniform(0, 6))
    flutter_hz = rng.uniform(1.0, 6.0)
    v += rng.uniform(0.002, 0.006) * np.sin(2 * np.pi * flutter_hz * t + rng.uniform(0, 6))
    # The time of a revolution is that of the running disc: no strike falls into its start, so nobody can hear how long
    # that took.
    running = np.cumsum(v) * step / period
    v *= 1 - np.exp(-t / 0.03)
    turned = np.cumsum(v) * step / period
    # One turn: the recorded one; of several whole turns their mean.
    whole = max(1, int(turns - late + 1e-6))
    revolution = float(np.interp(late + whole, running, t) - np.interp(late, running, t)) / whole
    lead_s = rng.uniform(0.3, 1.2)
    skip_s = float(np.interp(late, turned, t)) if late else -lead_s
    end_s = float(np.interp(turns, turned, t)) if turns != 1.0 or late else revolution + 0.3
    n = int((end_s - skip_s + 1.5) * RATE)
    audio = np.zeros(n)
    dead = {int(rng.choice(list(comb)))} if rng.random() < 0.5 else set()
    if sum(tooth in dead for _, tooth in strikes) > 8:
        dead = set()
    silent_index = {i for i, (_, tooth) in enumerate(strikes) if tooth in dead or rng.random() < 0.035}
    shift = {i: rng.choice([-1, 1]) * rng.uniform(0.05, 0.1) for i in range(len(strikes)) if rng.random() < 0.02}
    balance = {tooth: np.exp(rng.normal(0, 0.25)) for tooth in comb}
    feeble, feeble_teeth = weak_ones(np.random.default_rng([seed, 2]), strikes, silent_index, weak)
    events = []
    for lap in range(int(np.ceil(turns)) + 1):
        for i, (u, tooth) in enumerate(strikes):
            if i not in silent_index and u + lap <= turns:
                events.append((float(np.interp(u + lap, turned, t)) + shift.get(i, 0.0) - skip_s, tooth, False, i))
    extra_u = []
    for _ in range(max(2, count // 35)):
        for _ in range(50):
            tooth, when = int(rng.choice(list(comb))), float(rng.uniform(0.05, 0.95))
            place = float(np.interp(when, turned, t)) - skip_s
            if tooth not in dead and all(
                abs(place - e[0]) > 0.35 for e in events if abs(comb[e[1]] - comb[tooth]) < 0.6
            ):
                extra_u.append((when, tooth))
                events.append((place, tooth, True, -1))
                for lap in range(1, int(np.ceil(turns))):
                    if when + lap <= turns:
                        events.append((float(np.interp(when + lap, turned, t)) - skip_s, tooth, True, -1))
                break
    onsets, extra, struck = [], [], set()
    for at, tooth, is_extra, i in sorted(events):
        if at < 0.0 or at > n / RATE - 0.4:
            continue
        force = balance[tooth] * feeble_teeth.get(tooth, 1.0) * feeble.get(i, 1.0)
        sound = voice.note(tooth, comb[tooth], 5.0, force * np.exp(rng.normal(0, 0.15)))
        put(audio, sound.audio, at)
        if sympathy:
            force = np.abs(sound.audio).max() / 0.2
            for other, share in s.answers(rng, comb, tooth, comb[tooth], sympathy):
                if other not in dead:
                    put(audio, share * force * s.swelling(comb[other], min(sound.t60_s, 4.0), 3.0, rng), at)
        onsets.append((at, sound.pitch, tooth))
        struck.add(i)
        if is_extra:
            extra.append((at, sound.pitch))
    clean = s.in_a_room(rng, audio, room) if room else audio
    audio = surroundings(rng, clean, noise_db, tick, knocks, 0.0)
    times = np.arange(n) / RATE + skip_s
    speed_now = np.interp(times, t, v, left=0.0)
    if whirr:
        rms = np.sqrt(np.mean(clean**2))
        phase = 2 * np.pi * np.cumsum(rng.uniform(180, 420) * speed_now) / RATE
        tone = sum(np.sin(k * phase + rng.uniform(0, 6)) / k for k in (1, 2, 3, 5))
        hiss = s.room_noise(rng, n) * (1 + 0.8 * np.sin(phase / rng.integers(6, 12)))
        audio = audio + whirr * rms * (0.6 * tone + 0.5 * hiss) * (speed_now > 0.05)
    heard = {tooth: p for _, p, tooth in onsets}
    grid = np.arange(max(0.0, -skip_s) + 0.5, n / RATE - 1.8, 0.05)
    ratio = np.interp(grid + skip_s, t, v) * revolution / period
    table = {k: round(heard.get(k, p) + float(rng.normal(0, 0.02)), 3) for k, p in comb.items()}
    return Turn(
        name,
        level(audio, clip),
        table,
        strikes,
        onsets,
        sorted(silent_index),
        extra,
        sorted(struck & feeble.keys()),
        sorted(tooth for tooth in feeble_teeth if tooth in heard),
        revolution,
        np.c_[grid, ratio],
        bool(whirr),
        container,
        rate,
        said_rate,
        tuple(
            name
            for name, so in (("starts late", late), ("two turns", turns > 1.5), ("wrong rate", said_rate is not None))
            if so
        ),
        {"dead": dead, "shift": shift},
    )


# What a short pin or a far tooth leaves of the usual force. A strike varies by 15 %, a tooth by 25 % (turn, above).
WEAK_PIN, WEAK_TOOTH = (0.1, 0.25), (0.08, 0.2)
FEWEST_OF_A_WEAK_TOOTH = 3  # strikes: fewer do not tell a tooth from its pins


def weak_ones(
    rng: np.random.Generator, strikes: list[tuple[float, int]], silent: set[int], count: int
) -> tuple[dict[int, float], dict[int, float]]:
    """(share of the usual force by strike, the same by tooth): count strikes and half as many teeth, none twice."""
    uses = {tooth: sum(t == tooth and i not in silent for i, (_, t) in enumerate(strikes)) for _, tooth in strikes}
    often = [tooth for tooth, n in sorted(uses.items()) if n >= FEWEST_OF_A_WEAK_TOOTH]
    teeth = [int(t) for t in rng.permutation(often)[: count // 2]]
    single = [i for i, (_, t) in enumerate(strikes) if i not in silent and t in often and t not in teeth]
    pins = [int(i) for i in rng.permutation(single)[:count]]
    return (
        {i: float(rng.uniform(*WEAK_PIN)) for i in sorted(pins)},
        {tooth: float(rng.uniform(*WEAK_TOOTH)) for tooth in sorted(teeth)},
    )


def write(recording: Plucked | Turn, folder: Path) -> Path:
    """The recording in its container; the AAC one through PyAV."""
    audio = recording.audio
    rate = recording.rate
    if rate != RATE:
        from scipy.signal import resample_poly

        g = np.gcd(rate, RATE)
        audio = resample_poly(audio, rate // g, RATE // g)
    said = getattr(recording, "said_rate", None) or rate
    kind = recording.container
    path = folder / f"{recording.name}.{'wav' if kind in ('wav24', 'wav8', 'stereo') else kind}"
    audio = np.clip(audio, -1, 1)
    if kind == "m4a":
        write_aac(path, audio, said)
    elif kind == "stereo":
        soundfile.write(path, np.c_[audio, 0.6 * np.roll(audio, 7)], said)
    else:
        subtype = {"wav24": "PCM_24", "wav8": "PCM_U8"}.get(kind)
        with soundfile.SoundFile(path, "w", said, 1, subtype) as out:
            for start in range(0, len(audio), 65536):  # one long block of Ogg overflows the encoder's stack
                out.write(audio[start : start + 65536])
    return path


def write_aac(path: Path, audio: np.ndarray, rate: int) -> None:
    import av

    with av.open(str(path), "w") as out:
        stream = out.add_stream("aac", rate=rate, layout="mono")
        stream.bit_rate = 96_000
        data = audio.astype(np.float32)[None, :]
        for start in range(0, data.shape[1], 1024):
            frame = av.AudioFrame.from_ndarray(data[:, start : start + 1024].copy(), format="fltp", layout="mono")
            frame.sample_rate, frame.pts = rate, start
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


DEVELOPMENT: list[Spec] = [
    (plucked, {"name": "p-bar", "seed": 1, "voice_name": "bar", "teeth": 24}),
    (plucked, {"name": "p-box-ticks", "seed": 2, "voice_name": "fluid-10", "teeth": 20, "tick": 0.03, "knocks": 5}),
    (
        plucked,
        {
            "name": "p-celesta-noise",
            "seed": 3,
            "voice_name": "fluid-8",
            "teeth": 22,
            "noise_db": 15,
            "tick": 0.05,
            "knocks": 3,
        },
    ),
    (
        plucked,
        {
            "name": "p-bar-noise",
            "seed": 4,
            "voice_name": "bar",
            "teeth": 30,
            "noise_db": 15,
            "tick": 0.05,
            "container": "mp3",
        },
    ),
    (
        plucked,
        {
            "name": "p-vibes-aac",
            "seed": 5,
            "voice_name": "fluid-11",
            "teeth": 18,
            "container": "m4a",
            "tick": 0.02,
            "hum": 0.01,
        },
    ),
    (
        plucked,
        {"name": "p-harp-ring", "seed": 6, "voice_name": "tim-46", "teeth": 20, "damped": False, "container": "ogg"},
    ),
    (turn, {"name": "t-bar", "seed": 11, "voice_name": "bar", "teeth": 24, "count": 110}),
    (
        turn,
        {
            "name": "t-box-ticks",
            "seed": 12,
            "voice_name": "fluid-10",
            "teeth": 30,
            "count": 140,
            "tick": 0.03,
            "knocks": 4,
        },
    ),
    (
        turn,
        {
            "name": "t-bar-noise",
            "seed": 13,
            "voice_name": "bar",
            "teeth": 20,
            "count": 90,
            "noise_db": 15,
            "tick": 0.04,
            "container": "mp3",
        },
    ),
    (
        turn,
        {
            "name": "t-celesta-whirr",
            "seed": 14,
            "voice_name": "fluid-8",
            "teeth": 24,
            "count": 110,
            "whirr": 0.3,
            "container": "m4a",
        },
    ),
    (
        turn,
        {
            "name": "t-bar-late",
            "seed": 15,
            "voice_name": "bar",
            "teeth": 24,
            "count": 100,
            "late": 0.3,
            "turns": 1.6,
            "whirr": 0.1,
        },
    ),
    (
        turn,
        {
            "name": "t-glock-rate",
            "seed": 16,
            "voice_name": "fluid-9",
            "teeth": 22,
            "count": 90,
            "rate": 48000,
            "said_rate": 44100,
        },
    ),
]

# The second half: other seeds and other instruments. Its first figures showed what was still missing (quiet
# fundamentals, plucks of a ringing tooth), so it is no longer unseen; HELD_OUT was made afterwards.
SECOND: list[Spec] = [
    (
        plucked,
        {"name": "u-bar", "seed": 101, "voice_name": "bar", "teeth": 36, "knocks": 4, "tick": 0.02, "clip": True},
    ),
    (
        plucked,
        {"name": "u-glock", "seed": 102, "voice_name": "tim-9", "teeth": 16, "tick": 0.04, "knocks": 6, "rate": 22050},
    ),
    (
        plucked,
        {
            "name": "u-box-noise",
            "seed": 103,
            "voice_name": "tim-10",
            "teeth": 24,
            "noise_db": 15,
            "tick": 0.05,
            "container": "mp3",
        },
    ),
    (
        plucked,
        {"name": "u-kalimba", "seed": 104, "voice_name": "fluid-108", "teeth": 20, "container": "m4a", "knocks": 3},
    ),
    (
        plucked,
        {
            "name": "u-bar-noise",
            "seed": 105,
            "voice_name": "bar",
            "teeth": 28,
            "noise_db": 15,
            "tick": 0.06,
            "knocks": 4,
            "hum": 0.02,
        },
    ),
    (
        plucked,
        {
            "name": "u-bar-ring",
            "seed": 106,
            "voice_name": "bar",
            "teeth": 40,
            "damped": False,
            "gap": 0.6,
            "container": "ogg",
        },
    ),
    (
        turn,
        {
            "name": "v-bar",
            "seed": 111,
            "voice_name": "bar",
            "teeth": 36,
            "count": 160,
            "tick": 0.03,
            "container": "ogg",
        },
    ),
    (turn, {"name": "v-vibes", "seed": 112, "voice_name": "tim-11", "teeth": 20, "count": 80, "knocks": 4}),
    (
        turn,
        {
            "name": "v-box-noise",
            "seed": 113,
            "voice_name": "tim-10",
            "teeth": 24,
            "count": 100,
            "noise_db": 15,
            "tick": 0.04,
            "container": "m4a",
        },
    ),
    (
        turn,
        {
            "name": "v-harp",
            "seed": 114,
            "voice_name": "fluid-46",
            "teeth": 20,
            "count": 90,
            "whirr": 0.2,
            "container": "mp3",
        },
    ),
    (
        turn,
        {
            "name": "v-two-turns",
            "seed": 115,
            "voice_name": "bar",
            "teeth": 18,
            "count": 70,
            "turns": 2.0,
            "revolution_s": 32,
            "whirr": 0.15,
        },
    ),
    (
        turn,
        {
            "name": "v-rate",
            "seed": 116,
            "voice_name": "tim-8",
            "teeth": 24,
            "count": 100,
            "rate": 44100,
            "said_rate": 48000,
            "noise_db": 25,
        },
    ),
]

HELD_OUT: list[Spec] = [
    (plucked, {"name": "h-bar", "seed": 201, "voice_name": "bar", "teeth": 32, "knocks": 3, "tick": 0.03}),
    (plucked, {"name": "h-celesta", "seed": 202, "voice_name": "tim-8", "teeth": 20, "tick": 0.03, "container": "mp3"}),
    (
        plucked,
        {"name": "h-vibes-noise", "seed": 203, "voice_name": "tim-11", "teeth": 18, "noise_db": 15, "tick": 0.05},
    ),
    (
        plucked,
        {"name": "h-pizzicato", "seed": 204, "voice_name": "tim-45", "teeth": 18, "container": "m4a", "knocks": 4},
    ),
    (
        plucked,
        {
            "name": "h-bar-noise",
            "seed": 205,
            "voice_name": "bar",
            "teeth": 26,
            "noise_db": 15,
            "tick": 0.04,
            "knocks": 3,
        },
    ),
    (plucked, {"name": "h-glock", "seed": 206, "voice_name": "fluid-9", "teeth": 22, "hum": 0.01, "container": "ogg"}),
    (turn, {"name": "k-bar", "seed": 211, "voice_name": "bar", "teeth": 28, "count": 130, "tick": 0.03, "whirr": 0.12}),
    (turn, {"name": "k-box", "seed": 212, "voice_name": "tim-10", "teeth": 26, "count": 120, "knocks": 3}),
    (
        turn,
        {
            "name": "k-bar-noise",
            "seed": 213,
            "voice_name": "bar",
            "teeth": 22,
            "count": 90,
            "noise_db": 15,
            "tick": 0.05,
            "container": "mp3",
        },
    ),
    (
        turn,
        {
            "name": "k-glock",
            "seed": 214,
            "voice_name": "tim-9",
            "teeth": 20,
            "count": 80,
            "container": "m4a",
            "whirr": 0.2,
        },
    ),
    (
        turn,
        {"name": "k-late", "seed": 215, "voice_name": "fluid-8", "teeth": 20, "count": 80, "late": 0.4, "turns": 1.7},
    ),
    (
        turn,
        {
            "name": "k-rate",
            "seed": 216,
            "voice_name": "bar",
            "teeth": 24,
            "count": 100,
            "rate": 22050,
            "said_rate": 24000,
        },
    ),
]
