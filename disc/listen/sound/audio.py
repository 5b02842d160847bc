"""A recording of any common kind as one channel of samples.

WAV, FLAC and OGG are read by libsndfile, everything else (MP3, M4A and other phone formats) by PyAV. What comes out is
mono float64 at the recording's own rate, brought down to at most HIGHEST_RATE; the mean is taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from disc.errors import BadInput
from disc.tables import check_is_file

FloatArray = npt.NDArray[np.float64]

# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
# Nothing of a small comb above 20 kHz carries information that a phone's microphone passes.
HIGHEST_RATE = 50_000
# Below this a tooth's fundamental (up to about 3 kHz) cannot be told from its mirror.
LOWEST_RATE = 7_000
LONGEST_S = 1800.0  # half an hour; a comb of 72 teeth plucked twice takes about five minutes
SHORTEST_S = 0.5  # nothing can be told of less; chosen by hand
# Peak below which a recording counts as silent: the last bit of 16-bit sound is 3e-5.
SILENT_PEAK = 1e-4
# Share of samples at the peak from which a recording is called clipped: a pure tone spends far less there.
CLIPPED_SHARE = 2e-4


@dataclass(frozen=True)
class Recording:
    """samples: shape (n,), mono. rate: samples a second. remarks: what a person should know about its quality."""

    samples: FloatArray
    rate: float
    remarks: tuple[str, ...] = ()
    clipped: bool = False

    @property
    def length_s(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate


def read_recording(path: Path) -> Recording:
    """The recording at this path.

    Raises BadInput in one line if it is absent, empty, silent, too short, too long or in no known format.
    """
    if not path.is_file():
        raise BadInput(f"{path}: there is no such recording. Check the name.")
    if path.stat().st_size == 0:
        raise BadInput(f"{path}: the recording is empty (no bytes). Copy it from the phone again.")
    channels, rate, remarks = _decode(path)
    if not rate or channels.size == 0:
        raise BadInput(f"{path}: the recording holds no sound. Copy it from the phone again.")
    if not np.isfinite(channels).all():
        channels = np.nan_to_num(channels, nan=0.0, posinf=0.0, neginf=0.0)
        remarks.append("some samples were not numbers; they were taken as silence")
    return recording_from(channels, float(rate), path, remarks)


def recording_from(channels: FloatArray, rate: float, path: Path, remarks: list[str]) -> Recording:
    """Checked mono sound from decoded channels, shape (n, channels). Raises BadInput as read_recording does."""
    if rate < LOWEST_RATE:
        raise BadInput(f"{path}: {rate:g} samples a second are too few to hear teeth. Record at 16000 or more.")
    seconds = len(channels) / rate
    if seconds < SHORTEST_S:
        raise BadInput(f"{path}: the recording lasts only {seconds:.2f} s. Record the whole comb or the whole turn.")
    if seconds > LONGEST_S:
        raise BadInput(f"{path}: the recording lasts {seconds / 60:.0f} minutes; cut it to half an hour at most.")
    clipped = _is_clipped(channels)
    if clipped:
        remarks.append("the recording is clipped; record at a lower level for better ring times")
    mono = _mix(channels)
    if np.abs(mono).max() < SILENT_PEAK:
        raise BadInput(f"{path}: the recording is silent. Check the microphone and record again.")
    if rate > HIGHEST_RATE:
        mono, rate = _lower_rate(mono, rate)
    return Recording(mono, rate, tuple(remarks), clipped)


def _decode(path: Path) -> tuple[FloatArray, float, list[str]]:
    import soundfile

    check_is_file(path, "recording")
    try:
        with soundfile.SoundFile(path) as file:
            expected = file.frames
            if expected > LONGEST_S * file.samplerate:
                minutes = expected / file.samplerate / 60
                raise BadInput(f"{path}: the recording lasts {minutes:.0f} minutes; cut it to half an hour at most.")
            if file.format == "MP3":  # libsndfile's decoder writes to standard error, but goes on past damage
                found = _decode_with_av(path)
                if not found[2]:
                    return found
            data, whole = _read_blocks(file)
            remarks = [] if whole else [f"the file breaks off after {len(data) / file.samplerate:.1f} s"]
            return data, file.samplerate, remarks
    except (soundfile.LibsndfileError, OSError, RuntimeError, TypeError, ValueError):
        return _decode_with_av(path)


def _read_blocks(file: object) -> tuple[FloatArray, bool]:
    """Everything up to the end or the first damaged block; and whether it came to the end."""
    import soundfile

    blocks, whole = [], True
    while True:
        try:
            block = file.read(65536, dtype="float64", always_2d=True)  # type: ignore[attr-defined]
        except (soundfile.LibsndfileError, RuntimeError):
            whole = False
            break
        if len(block) == 0:
            break
        blocks.append(block)
    return (np.concatenate(blocks) if blocks else np.zeros((0, 1))), whole


def _decode_with_av(path: Path) -> tuple[FloatArray, float, list[str]]:
    import av

    av.logging.set_level(av.logging.PANIC)
    blocks: list[FloatArray] = []
    rate = 0.0
    remarks: list[str] = []
    try:
        with av.open(str(path)) as container:
            if not container.streams.audio:
                raise BadInput(f"{path}: there is no sound in this file.")
            resampler = av.AudioResampler(format="fltp")
            for frame in container.decode(container.streams.audio[0]):
                rate = float(frame.sample_rate)
                blocks += [part.to_ndarray().T.astype(np.float64) for part in resampler.resample(frame)]
                if sum(map(len, blocks[-1:])) and len(blocks) * 1024 > LONGEST_S * rate * 2:
                    raise BadInput(f"{path}: the recording is too long; cut it to half an hour at most.")
    except (av.FFmpegError, OSError, ValueError, IndexError) as error:
        if not blocks:
            raise BadInput(
                f"{path}: not a sound file that can be read (WAV, FLAC, OGG, MP3 or M4A), or it is damaged. "
                "Save or convert it again."
            ) from error
        remarks.append(f"the file breaks off after {sum(map(len, blocks)) / rate:.1f} s")
    return (np.concatenate(blocks) if blocks else np.zeros((0, 1))), rate, remarks


def _is_clipped(channels: FloatArray) -> bool:
    peak = float(np.abs(channels).max())
    if peak <= 0.0:
        return False
    return bool(np.mean(np.abs(channels) >= peak * 0.9999) > CLIPPED_SHARE)


def _mix(channels: FloatArray) -> FloatArray:
    """The mean of the channels; the louder one where they would cancel each other."""
    centred = channels - channels.mean(axis=0)
    mixed = centred.mean(axis=1)
    loudest = centred[:, int(np.argmax(np.mean(centred**2, axis=0)))]
    return loudest if np.mean(mixed**2) < 0.25 * np.mean(loudest**2) else mixed


def _lower_rate(samples: FloatArray, rate: float) -> tuple[FloatArray, float]:
    from scipy.signal import resample_poly

    down = int(np.ceil(rate / HIGHEST_RATE))
    return resample_poly(samples, 1, down), rate / down
