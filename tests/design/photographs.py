"""Designs rendered as photographs and given to `disc read`: what it finds must be what was designed.

The photographs come from the renderer of disc/design (pinhole, tilt, shadows), with a sensor's noise, a lens's blur and
JPEG's losses put on top; the reader is told nothing but the files. They are easier than photographs of real discs.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np

from disc.design.arranged import arranged_tune
from disc.design.design_job import tune_settings
from disc.design.picture.brass import Light
from disc.design.picture.camera import Camera
from disc.design.picture.draw_disc import render_face
from disc.design.plan import Design, plan_design
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.frame import FloatArray, to_xy_mm
from disc.job import open_job
from disc.records import Pin, Side, Tune
from disc.tables import format_comb
from disc.tune.score.records import ScoreIn
from disc.tune.store import load_tune

from .material import COMBS, make_comb

NEAR_MM = 0.15  # a pin found this close to a designed one is that pin
PICTURE_PX = 2200


def photograph(design: Design, side: Side, path: Path, rng: np.random.Generator) -> None:
    """One face as a JPEG: tilted a little, turned at random, lit from a random window."""
    from PIL import Image
    from scipy.ndimage import gaussian_filter

    camera = Camera(
        PICTURE_PX,
        PICTURE_PX,
        design.plate.diameter_mm,
        distance_mm=float(rng.uniform(160, 260)),
        fill=0.80,
        tilt_deg=float(rng.uniform(0, 6)),
        towards_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.uniform(0, 360)),
    )
    light = Light(float(rng.uniform(0, 360)), float(rng.uniform(40, 55)), float(rng.uniform(0.6, 0.8)))
    image = render_face(design.pins, design.plate, side, camera, light, design.settings.keep_out).astype(float)
    image = gaussian_filter(image, (0.7, 0.7, 0)) + rng.normal(0.0, 2.5, image.shape)
    Image.fromarray(np.clip(np.rint(image), 0, 255).astype(np.uint8)).save(path, quality=90)


def match_f1(found: Sequence[Pin], wanted: Sequence[Pin]) -> float:
    """F1 of pins found against pins designed, one to one within NEAR_MM on the same face."""
    from scipy.optimize import linear_sum_assignment

    hits = 0
    for side in Side:
        a, b = _places(found, side), _places(wanted, side)
        if len(a) and len(b):
            gap = np.hypot(*(a[:, None, :] - b[None, :, :]).transpose(2, 0, 1))
            rows, columns = linear_sum_assignment(np.where(gap <= NEAR_MM, gap, 1e3))
            hits += int((gap[rows, columns] <= NEAR_MM).sum())
    return 2 * hits / max(1, len(found) + len(wanted))


def _places(pins: Sequence[Pin], side: Side) -> FloatArray:
    return np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins if pin.side is side]).reshape(-1, 2)


def read_back(design: Design, folder: Path, rng: np.random.Generator) -> tuple[float, str, int]:
    """(F1 of the pins, how like the MIDI is, pins found) after start, read, comb and transcribe."""
    photos = {side: folder / f"{side.value}.jpg" for side in Side}
    for side, path in photos.items():
        photograph(design, side, path, rng)
    job, comb, plate = folder / "read", folder / "comb.csv", design.plate
    comb.write_text(format_comb(design.comb))
    sizes = ["--diameter-mm", plate.diameter_mm, "--turns", plate.turns.value, "--revolution-s", plate.revolution_s]
    sizes += ["--rest-arc-deg", plate.rest_arc_deg, "--thickness-mm", plate.thickness_mm, "--bore-mm", plate.bore_mm]
    disc("start", job, *sizes)
    disc("read", job, "--upper", photos[Side.UPPER], "--lower", photos[Side.LOWER])
    disc("comb", job, "--table", comb)
    known = {f"--{name.replace('_', '-')}": value for name, value in tune_settings(design).items() if value}
    disc("transcribe", job, *(word for pair in known.items() for word in pair))
    heard = load_tune(open_job(job))
    assert heard is not None
    pins = [pin for pin in open_job(job).pins() if pin.plays]
    return match_f1(pins, design.pins), likeness(notes_of(heard), notes_of(arranged_tune(design))), len(pins)


Notes = list[tuple[Fraction, int]]


def notes_of(tune: Tune) -> Notes:
    """(onset in quarters from the first note, pitch) of every note, as the MIDI file is written from them."""
    first = min(note.onset_quarter for note in tune.notes)
    return sorted((note.onset_quarter - first, note.pitch) for note in tune.notes)


def likeness(heard: Notes, wanted: Notes) -> str:
    """In words: the same notes at the same quarters; the same but written in other note values; or different.

    Halves and doubles sound alike, for the tempo goes with them; which of them a composer wrote no disc can tell.
    """
    if heard == wanted:
        return "the same"
    for factor in (Fraction(1, 2), Fraction(2)):
        if heard == [(onset * factor, pitch) for onset, pitch in wanted]:
            return "sounds the same, note values times " + str(factor)
    return "differs"


def disc(*words: object) -> None:
    """One command of the program, in a process of its own."""
    code = "import sys; from disc.cli import main; sys.argv[0] = 'disc'; main()"
    subprocess.run([sys.executable, "-c", code, *map(str, words)], check=True, capture_output=True, text=True)


def read_back_photographs(scores: Sequence[ScoreIn], count: int, seed: int) -> None:
    """Designs of the first tunes that fit, on each comb in turn, photographed and read; one line each."""
    done = 0
    for number, score in enumerate(scores[:: max(1, len(scores) // (3 * count))]):
        spec = COMBS[number % len(COMBS)]
        comb, plate = make_comb(spec, np.random.default_rng([seed, number]))
        try:
            design = plan_design(score, comb, plate, DesignSettings())
        except BadInput:
            continue
        with tempfile.TemporaryDirectory() as folder:
            f1, same, pins = read_back(design, Path(folder), np.random.default_rng([seed, number, 1]))
        print(
            f"photographed and read: {spec.name:12} {len(design.pins):4} pins, {pins:4} found, F1 {f1:.4f}, "
            f"MIDI {same}   bar 0.99, the same"
        )
        done += 1
        if done >= count:
            return
