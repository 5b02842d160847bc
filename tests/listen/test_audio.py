"""Recordings of every kind, whole and damaged. The reference is the sound that was written."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

from disc.errors import BadInput
from disc.listen.sound.audio import read_recording

RATE = 44100


def a_tone(seconds: float = 1.2, rate: int = RATE) -> np.ndarray:
    t = np.arange(int(seconds * rate)) / rate
    return 0.5 * np.sin(2 * np.pi * 880.0 * t) * np.exp(-2 * t)


def strongest_hz(samples: np.ndarray, rate: float) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 1 << 18))
    return float(np.argmax(spectrum) * rate / (1 << 18))


@pytest.mark.parametrize(
    "name, subtype, close",
    [
        ("a.wav", "PCM_U8", 0.02), ("a.wav", "PCM_16", 1e-3), ("a.wav", "PCM_24", 1e-4), ("a.wav", "FLOAT", 1e-4),
        ("a.wav", "PCM_32", 1e-4), ("a.flac", "PCM_16", 1e-3), ("a.ogg", None, 0.05), ("a.mp3", None, 0.05),
    ],
)  # fmt: skip
def test_formats_read_back(tmp_path: Path, name: str, subtype: str | None, close: float) -> None:
    tone = a_tone()
    soundfile.write(tmp_path / name, tone, RATE, subtype=subtype)
    heard = read_recording(tmp_path / name)
    assert heard.rate == RATE
    assert strongest_hz(heard.samples, heard.rate) == pytest.approx(880.0, abs=0.5)
    shared = min(len(tone), len(heard.samples))
    assert np.sqrt(np.mean((heard.samples[:shared] - tone[:shared]) ** 2)) < close


def test_mp3_is_read_in_its_place_and_past_damage(tmp_path: Path) -> None:
    """A click in noise stands where libsndfile, a decoder of its own, has it; damage in the middle costs little."""
    rng = np.random.default_rng(2)
    sound = 0.05 * rng.normal(size=10 * 22050)
    sound[22050 : 22050 + 400] += rng.normal(size=400) * np.exp(-np.arange(400) / 80)
    soundfile.write(tmp_path / "a.mp3", np.clip(sound, -1, 1), 22050)
    heard = read_recording(tmp_path / "a.mp3")
    reference, _ = soundfile.read(tmp_path / "a.mp3")
    shift = np.correlate(heard.samples[:44100], reference[20050:24450], "valid")
    assert int(np.argmax(shift)) == 20050 and len(heard.samples) == len(reference)
    data = bytearray((tmp_path / "a.mp3").read_bytes())
    data[len(data) // 2 : len(data) // 2 + 300] = rng.integers(0, 256, 300, dtype=np.uint8).tobytes()
    (tmp_path / "a.mp3").write_bytes(bytes(data))
    assert read_recording(tmp_path / "a.mp3").length_s > 9.5


def test_m4a_as_phones_save_it(tmp_path: Path) -> None:
    path = tmp_path / "a.m4a"
    tone = a_tone().astype(np.float32)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("aac", rate=RATE, layout="mono")
        for start in range(0, len(tone), 1024):
            frame = av.AudioFrame.from_ndarray(tone[None, start : start + 1024].copy(), format="fltp", layout="mono")
            frame.sample_rate, frame.pts = RATE, start
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    heard = read_recording(path)
    assert strongest_hz(heard.samples, heard.rate) == pytest.approx(880.0, abs=0.5)


def test_opposed_channels_do_not_cancel(tmp_path: Path) -> None:
    tone = a_tone()
    soundfile.write(tmp_path / "a.wav", np.column_stack([tone, -tone]), RATE)
    assert np.abs(read_recording(tmp_path / "a.wav").samples).max() > 0.3


def test_high_rate_comes_down_without_moving_the_pitch(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", a_tone(rate=96000), 96000)
    heard = read_recording(tmp_path / "a.wav")
    assert heard.rate == 48000
    assert strongest_hz(heard.samples, heard.rate) == pytest.approx(880.0, abs=0.5)


def test_clipping_is_said(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.clip(4 * a_tone(), -1, 1), RATE)
    heard = read_recording(tmp_path / "a.wav")
    assert heard.clipped and any("clipped" in remark for remark in heard.remarks)
    soundfile.write(tmp_path / "b.wav", a_tone(), RATE)
    assert not read_recording(tmp_path / "b.wav").clipped


def test_what_is_left_of_a_truncated_file_is_used(tmp_path: Path) -> None:
    for name in ("a.wav", "a.flac"):
        soundfile.write(tmp_path / name, a_tone(3.0) + 0.01 * np.random.default_rng(1).normal(size=3 * RATE), RATE)
        data = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(data[: len(data) * 2 // 3])
        assert 1.0 < read_recording(tmp_path / name).length_s < 2.5


@pytest.mark.parametrize(
    "content, words",
    [
        (b"", "empty"),
        (b"RIFF", "not a sound file"),
        (b"number,side\n1,upper\n" * 50, "not a sound file"),
        (bytes(range(256)) * 200, "not a sound file"),
    ],
)
def test_what_is_no_sound_is_said_in_one_line(tmp_path: Path, content: bytes, words: str) -> None:
    (tmp_path / "a.wav").write_bytes(content)
    with pytest.raises(BadInput, match=words) as caught:
        read_recording(tmp_path / "a.wav")
    assert "a.wav" in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "samples, rate, words",
    [
        (np.zeros(RATE), RATE, "silent"), (np.zeros(0), RATE, "no sound|empty|not a sound"),
        (a_tone(0.2), RATE, "only 0.20 s"), (a_tone(rate=6000), 6000, "too few"),
    ],
)  # fmt: skip
def test_useless_sound_is_refused(tmp_path: Path, samples: np.ndarray, rate: int, words: str) -> None:
    soundfile.write(tmp_path / "a.wav", samples, rate)
    with pytest.raises(BadInput, match=words):
        read_recording(tmp_path / "a.wav")


def test_absent(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such recording"):
        read_recording(tmp_path / "none.wav")
