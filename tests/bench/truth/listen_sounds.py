"""Sounds with known truth for the listening benchmark: a bar model, sampled instruments, faults and surroundings.

Truth of a note: the pitch of its settled decay, by the peak of one long Hann window on the clean, isolated note (a
sampled string glides by some cents at first; a struck bar does too); ring time from Schroeder's backward integration of
the fundamental's band (-5 to -25 dB, times 60/20; ISO 3382-1 calls it T20). For the bar model both are known by
construction. Neither uses the program's own estimators.
"""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import mido
import numpy as np
import soundfile
from scipy import signal

RATE = 44100
LOW, HIGH = 55, 100
FLUID = "/usr/share/sounds/sf2/FluidR3_GM.sf2"
TIMGM = "/usr/share/sounds/sf2/TimGM6mb.sf2"
MUSE = "/usr/share/sounds/sf3/MuseScore_General_Lite.sf3"
FONTS = {"fluid": FLUID, "tim": TIMGM, "muse": MUSE}


@dataclass(frozen=True)
class Sound:
    """One clean note: audio from its onset on, its pitch (MIDI number) and ring time."""

    audio: np.ndarray
    pitch: float
    t60_s: float


def hz(pitch: float) -> float:
    return 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)


def midi(f: float) -> float:
    return 69.0 + 12.0 * np.log2(f / 440.0)


# Partials of things that ring when struck, from the lowest up: bars clamped at one end, bars free at both (Blevins,
# Formulas for Natural Frequency and Mode Shape, 1979, table 8-1; from memory), bars cut so that the second and third
# fall on 4 and 10 (as those of marimbas are; common practice, no source), strings.
RATIOS = {
    "bar": (1.0, 6.267, 17.55), "free": (1.0, 2.757, 5.404, 8.933), "cut": (1.0, 4.0, 10.0),
    "string": (1.0, 2.0, 3.0, 4.0, 5.0),
}  # fmt: skip


class BarVoice:
    """Clamped-free bars, or other things that ring: each partial with its own detuning, decay and strength; a short
    pluck noise."""

    def __init__(self, rng: np.random.Generator, kind: str = "bar") -> None:
        self.rng, self.kind = rng, kind
        self.ring_at_60_s = rng.uniform(1.5, 5.0)
        self.slope = rng.uniform(0.2, 0.6)  # ring time falls as pitch ** slope per octave
        self.bright = rng.uniform(0.15, 0.7)
        self.click = rng.uniform(0.02, 0.2)
        self.teeth: dict[int, tuple] = {}

    def note(self, tooth: int, pitch: float, length_s: float, force: float = 1.0, damping: float = 1.0) -> Sound:
        """A tooth keeps its partials; phases and strike point change with every pluck."""
        rng = self.rng
        if tooth not in self.teeth:
            usual = np.array(RATIOS[self.kind])
            over = len(usual) - 1
            ratios = usual * np.r_[1.0, 1 + rng.normal(0, 0.03 if self.kind != "string" else 0.001, over)]
            t60 = self.ring_at_60_s * 2 ** (-self.slope * (pitch - 60) / 12) * np.exp(rng.normal(0, 0.2))
            decays = t60 * np.array([1.0, rng.uniform(0.15, 0.5), *rng.uniform(0.04, 0.15, over - 1)])
            levels = np.r_[1.0, self.bright * 0.5 ** np.arange(over)] * np.exp(rng.normal(0, 0.3, over + 1))
            levels[0] = 1.0
            self.teeth[tooth] = (ratios, decays, levels)
        ratios, decays, levels = self.teeth[tooth]
        decays = decays * damping
        t = np.arange(int(length_s * RATE)) / RATE
        audio = np.zeros(len(t))
        for ratio, decay, level in zip(ratios, decays, levels, strict=True):
            f = hz(pitch) * ratio
            if f < 0.45 * RATE:
                strength = level * np.exp(rng.normal(0, 0.15)) if ratio != 1.0 else level
                audio += strength * np.exp(-6.9078 * t / decay) * np.sin(2 * np.pi * f * t + rng.uniform(0, 2 * np.pi))
        audio *= 1 - np.exp(-t / 0.0006)
        n = int(0.02 * RATE)
        audio[:n] += self.click * rng.normal(size=n) * np.exp(-np.arange(n) / (0.003 * RATE))
        return Sound(0.2 * force * audio, pitch, float(decays[0]))


@cache
def rendered(font: str, program: int) -> dict[int, np.ndarray]:
    """All notes LOW..HIGH of one General MIDI program, dry, each 6 s, by fluidsynth."""
    span = 6.0
    track = mido.MidiTrack([mido.Message("program_change", program=program)])
    for key in range(LOW, HIGH + 1):
        track.append(mido.Message("note_on", note=key, velocity=100, time=0))
        track.append(mido.Message("note_off", note=key, velocity=0, time=int(5.6 * 960)))
        track.append(mido.Message("control_change", control=120, value=0, time=int(0.35 * 960)))
        track.append(mido.Message("control_change", control=7, value=100, time=int(0.05 * 960)))
    song = mido.MidiFile(ticks_per_beat=480)
    song.tracks.append(track)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder)
        song.save(path / "a.mid")
        command = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.8", "-r", str(RATE), "-T", "wav"]
        subprocess.run(
            [*command, "-F", str(path / "a.wav"), font, str(path / "a.mid")], check=True, capture_output=True
        )
        audio, _ = soundfile.read(path / "a.wav")
    mono = audio.mean(axis=1)
    notes = {}
    for key in range(LOW, HIGH + 1):
        start = round((key - LOW) * span * RATE)
        piece = mono[start : start + int(5.6 * RATE)]
        above = np.flatnonzero(np.abs(piece) > 0.02 * np.abs(piece).max())
        first = max(0, int(above[0]) - int(0.001 * RATE)) if len(above) else 0  # truth: where the sample speaks
        notes[key] = piece[first:]
    return notes


class SampledVoice:
    """A General MIDI instrument; a note is the nearest key, resampled to the wanted pitch."""

    def __init__(self, rng: np.random.Generator, font: str, program: int) -> None:
        self.rng, self.font, self.program = rng, font, program
        self.made: dict[tuple[int, float], Sound] = {}

    def note(self, tooth: int, pitch: float, length_s: float, force: float = 1.0, damping: float = 1.0) -> Sound:
        key = int(np.clip(round(pitch), LOW, HIGH))
        if (tooth, pitch) not in self.made:
            clean = rendered(self.font, self.program)[key]
            step = 2 ** ((pitch - key) / 12)
            places = np.arange(0, len(clean) - 2, step)
            audio = np.interp(places, np.arange(len(clean)), clean)
            peak = np.abs(audio).max() or 1.0
            audio = audio / peak * 0.25
            true = measured_pitch(audio, pitch)
            self.made[tooth, pitch] = Sound(audio, true, schroeder_t60(audio, hz(true)))
        sound = self.made[tooth, pitch]
        n = int(length_s * RATE)
        audio = np.pad(sound.audio[:n], (0, max(0, n - len(sound.audio)))) * force
        fade = min(n, int(0.02 * RATE))
        audio[n - fade :] *= np.linspace(1, 0, fade)
        t60 = sound.t60_s
        if damping != 1.0:
            rate = 6.9078 / t60 * (1 / damping - 1)
            audio = audio * np.exp(-rate * np.arange(n) / RATE)
            t60 = t60 * damping
        return Sound(audio, sound.pitch, t60)


# The settled decay: from SETTLED_S after the attack to where the fundamental has fallen by FALLEN_DB, a second at most.
# Of a note that has fallen so far sooner than twice SETTLED_S it is the later half. What lies MARGIN_S after the last
# moment that counts is not filtered: within 0.0004 cents of the whole note's, in a twentieth of the time.
SETTLED_S, FALLEN_DB, LONGEST_S, MARGIN_S = 0.25, 35.0, 1.0, 0.5


def measured_pitch(audio: np.ndarray, near: float) -> float:
    """Pitch of the settled decay of the clean note, within 60 cents of the nominal pitch."""
    audio = audio[: int((SETTLED_S + LONGEST_S + MARGIN_S) * RATE)]
    level = 20 * np.log10(np.abs(signal.hilbert(octave_about(audio, hz(near)))) + 1e-9)
    smooth = np.convolve(level, np.ones(441) / 441, "same")
    top = int(np.argmax(smooth[: int(0.3 * RATE)]))
    under = np.flatnonzero(smooth[top:] < smooth[top] - FALLEN_DB)
    end = min(top + int(under[0]) if len(under) else len(audio), int((SETTLED_S + LONGEST_S) * RATE), len(audio))
    piece = audio[min(int(SETTLED_S * RATE), end // 2) : end]
    piece = piece * np.hanning(len(piece))
    size = 1 << 18
    spectrum = np.abs(np.fft.rfft(piece, size))
    low, high = (int(hz(near + d) * size / RATE) for d in (-0.6, 0.6))
    at = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[at - 1 : at + 2] + 1e-12)
    return midi((at + 0.5 * (a - c) / (a - 2 * b + c)) * RATE / size)


def octave_about(audio: np.ndarray, f: float) -> np.ndarray:
    """The band half an octave to either side."""
    sos = signal.butter(2, [f / 2**0.5, min(f * 2**0.5, 0.45 * RATE)], "bandpass", fs=RATE, output="sos")
    return signal.sosfiltfilt(sos, audio)


def schroeder_t60(audio: np.ndarray, f: float) -> float:
    """Ring time of the fundamental by backward integration of its band."""
    low, high = f * 2 ** (-1.5 / 12), f * 2 ** (1.5 / 12)
    sos = signal.butter(2, [low, high], "bandpass", fs=RATE, output="sos")
    band = signal.sosfiltfilt(sos, audio)
    energy = np.cumsum(band[::-1] ** 2)[::-1]
    level = 10 * np.log10(energy / energy[0] + 1e-12)
    first, last = np.argmax(level < -5), np.argmax(level < -25)
    if last <= first:
        return float("nan")
    slope = np.polyfit(np.arange(first, last) / RATE, level[first:last], 1)[0]
    return -60.0 / slope


# ---- faults of a tooth


def dead_click(rng: np.random.Generator, pitch: float) -> np.ndarray:
    """A dull click: low-passed noise and a tone choked within a few hundredths of a second."""
    n = int(0.25 * RATE)
    t = np.arange(n) / RATE
    noise = signal.sosfilt(signal.butter(2, rng.uniform(1200, 4000), fs=RATE, output="sos"), rng.normal(size=n))
    click = noise * np.exp(-t / rng.uniform(0.003, 0.012)) * rng.uniform(0.1, 0.25)
    tone = np.sin(2 * np.pi * hz(pitch) * t) * np.exp(-6.9078 * t / rng.uniform(0.03, 0.08))
    return click + rng.uniform(0.0, 0.12) * tone


def add_buzz(rng: np.random.Generator, audio: np.ndarray, pitch: float, kind: int) -> np.ndarray:
    """A damper touching or a crack, four ways: gated noise, one-sided contact, rattle, repeated impacts."""
    n = len(audio)
    t = np.arange(n) / RATE
    envelope = np.abs(signal.hilbert(audio))
    envelope = signal.sosfiltfilt(signal.butter(1, 40, fs=RATE, output="sos"), envelope).clip(0)
    tone = np.sin(2 * np.pi * hz(pitch) * t)
    if kind == 0:
        noise = signal.sosfilt(signal.butter(2, [1500, 9000], "bandpass", fs=RATE, output="sos"), rng.normal(size=n))
        return audio + rng.uniform(0.25, 0.6) * noise * envelope * (tone > 0.6) * 2
    if kind == 1:
        limit = rng.uniform(0.2, 0.5)
        bent = np.where(audio > limit * envelope, limit * envelope + 0.15 * (audio - limit * envelope), audio)
        return bent
    if kind == 2:
        rattle = rng.uniform(25, 90)
        gate = 0.5 + 0.5 * signal.square(2 * np.pi * rattle * t + 2 * np.cumsum(rng.normal(size=n)) / np.sqrt(RATE))
        noise = signal.sosfilt(signal.butter(2, 2000, "highpass", fs=RATE, output="sos"), rng.normal(size=n))
        return audio * (0.6 + 0.4 * gate) + rng.uniform(0.1, 0.3) * noise * envelope * gate
    impacts = np.zeros(n)
    times = np.cumsum(rng.normal(1 / hz(pitch), 0.08 / hz(pitch), int(n / RATE * hz(pitch)) + 1))
    at = (times[times < n / RATE] * RATE).astype(int)
    impacts[at.clip(0, n - 1)] = 1.0
    ring = np.exp(-np.arange(200) / 12.0) * np.sin(2 * np.pi * 5200 / RATE * np.arange(200))
    return audio + rng.uniform(0.2, 0.5) * np.convolve(impacts, ring)[:n] * envelope


# ---- surroundings


def ticks(rng: np.random.Generator, n: int, per_s: float, level: float) -> np.ndarray:
    """A lever watch: each beat a cluster of three short resonant clicks, tick and tock a little apart."""
    out = np.zeros(n + RATE)
    t = np.arange(int(0.012 * RATE)) / RATE
    sounds = []
    for _ in range(2):
        click = np.zeros(int(0.03 * RATE))
        for delay in (0.0, rng.uniform(0.003, 0.006), rng.uniform(0.007, 0.012)):
            at = int(delay * RATE)
            for _ in range(3):
                f, tau = rng.uniform(2500, 9000), rng.uniform(0.0004, 0.0015)
                click[at : at + len(t)] += rng.uniform(0.3, 1) * np.sin(2 * np.pi * f * t) * np.exp(-t / tau)
        sounds.append(click / np.abs(click).max())
    beat_error = rng.uniform(-0.006, 0.006)
    start = rng.uniform(0, 1 / per_s)
    for k in range(int(n / RATE * per_s)):
        at = int((start + k / per_s + (beat_error if k % 2 else 0) + rng.normal(0, 0.0002)) * RATE)
        out[at : at + len(sounds[0])] += level * rng.uniform(0.8, 1.2) * sounds[k % 2]
    return out[:n]


def knock(rng: np.random.Generator) -> np.ndarray:
    """Something set down on the bench: damped low modes and a broad burst."""
    t = np.arange(int(0.3 * RATE)) / RATE
    out = rng.normal(size=len(t)) * np.exp(-t / 0.004) * 0.3
    for _ in range(4):
        out += (
            rng.uniform(0.3, 1) * np.sin(2 * np.pi * rng.uniform(70, 420) * t) * np.exp(-t / rng.uniform(0.01, 0.035))
        )
    return out


def rustle(rng: np.random.Generator) -> np.ndarray:
    """Handling: a burst of band noise with an uneven envelope."""
    n = int(rng.uniform(0.08, 0.4) * RATE)
    low = rng.uniform(300, 1500)
    noise = signal.sosfilt(signal.butter(2, [low, low * 6], "bandpass", fs=RATE, output="sos"), rng.normal(size=n))
    shape = np.interp(np.arange(n), np.linspace(0, n, 8), np.r_[0, rng.uniform(0.2, 1, 6), 0])
    return noise * shape


def room_noise(rng: np.random.Generator, n: int) -> np.ndarray:
    """Noise falling 3 to 6 dB an octave, RMS 1."""
    spectrum = np.fft.rfft(rng.normal(size=n))
    f = np.maximum(np.fft.rfftfreq(n, 1 / RATE), 40)
    noise = np.fft.irfft(spectrum * f ** -rng.uniform(0.5, 1.0), n)
    return noise / np.sqrt(np.mean(noise**2))


def hum(n: int, level: float) -> np.ndarray:
    """Mains hum, 50 Hz and harmonics."""
    t = np.arange(n) / RATE
    harmonics = [np.sin(2 * np.pi * 50.02 * k * t + k) / k for k in (1, 2, 3, 4, 6)]
    return level * np.sum(harmonics, axis=0)


def in_a_room(rng: np.random.Generator, audio: np.ndarray, share: float) -> np.ndarray:
    """The sound and its reverberation: noise that dies away within 0.2 to 0.5 s, share of the direct sound's power."""
    t = np.arange(int(0.5 * RATE)) / RATE
    answer = rng.normal(size=len(t)) * np.exp(-6.9078 * t / rng.uniform(0.2, 0.5)) * (t > 0.003)
    answer *= np.sqrt(share / np.sum(answer**2))
    return audio + signal.fftconvolve(audio, answer)[: len(audio)]


def answers(
    rng: np.random.Generator, comb: dict[int, float], struck: int, pitch: float, level: float
) -> list[tuple[int, float]]:
    """(tooth, share) of the teeth that sympathise with a strike: at its unison, octave, twelfth or double octave."""
    found = []
    for tooth, own in comb.items():
        for n in (1, 2, 3, 4):
            off = abs(own - pitch - 12 * np.log2(n))
            if tooth != struck and off < 0.4:
                found.append((tooth, level / n * np.exp(-((off / 0.2) ** 2)) * np.exp(rng.normal(0, 0.3))))
    return found


def swelling(pitch: float, t60_s: float, length_s: float, rng: np.random.Generator) -> np.ndarray:
    """What a tooth that sympathises sounds like: it comes up over a tenth of a second or so and dies away."""
    t = np.arange(int(length_s * RATE)) / RATE
    rise = 1 - np.exp(-t / rng.uniform(0.04, 0.15))
    return 0.2 * rise * np.exp(-6.9078 * t / t60_s) * np.sin(2 * np.pi * hz(pitch) * t + rng.uniform(0, 6.28))
