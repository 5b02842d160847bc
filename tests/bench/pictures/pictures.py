"""The README's pictures of a reading, a sheet and a score, made from the sample's own job.

    python -m tests.bench.pictures.pictures            # writes samples/pictures/reading.jpg, sheet.png, score.png

Run it again when the sample, the overlays, the sheets or the engraving have changed, and look at what it makes. The
desk's pictures beside them are screenshots.
"""

from __future__ import annotations

import argparse
import io
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import typst
from PIL import Image

from disc.frame import to_xy_mm
from disc.job import Job, open_job
from disc.records import Side
from disc.report.pictures import small_jpeg
from disc.report.places import photographed_view, rim_outline
from disc.tune.write.engrave import engrave

PICTURES = Path(__file__).parents[3] / "samples" / "pictures"
LARGEST_KB = 150
HALF_PX = 560  # each half of the picture of a reading
NEAR_MM = 9.0  # what its enlarged half shows
COLOURS = 24  # of a drawing
LARGER = 3


def sample_job(folder: Path) -> Job:
    """The demo's job."""
    code = "import sys; from disc.cli import main; sys.argv[0] = 'disc'; main()"
    subprocess.run([sys.executable, "-c", code, "demo", str(folder)], check=True, capture_output=True)
    return open_job(folder)


def reading(job: Job) -> bytes:
    """The upper face with its marks: the whole disc, and a part of it as large as one sees it on opening the file."""
    path = next(
        job.out(f"overlay-upper{ending}") for ending in (".jpg", ".png") if job.has(f"out/overlay-upper{ending}")
    )
    whole = Image.open(io.BytesIO(small_jpeg(path, HALF_PX, rim_outline(job, Side.UPPER))))
    found = photographed_view(job, Side.UPPER)
    assert found is not None
    u, v = found[0].to_photo_px(*to_xy_mm(_busiest_r_mm(job), _busiest_theta_deg(job)))
    half = NEAR_MM / 2 * found[0].px_per_mm
    near = Image.open(path).convert("RGB").crop((int(u - half), int(v - half), int(u + half), int(v + half)))
    sheet = Image.new("RGB", (2 * HALF_PX + 20, HALF_PX), "white")
    sheet.paste(whole, ((HALF_PX - whole.width) // 2, (HALF_PX - whole.height) // 2))
    sheet.paste(near.resize((HALF_PX, HALF_PX), Image.Resampling.LANCZOS), (HALF_PX + 20, 0))
    out = io.BytesIO()
    sheet.save(out, "JPEG", quality=72, optimize=True)
    return out.getvalue()


def _busiest_r_mm(job: Job) -> float:
    return float(np.median([pin.r_mm for pin in job.pins() if pin.side is Side.UPPER]))


def _busiest_theta_deg(job: Job) -> float:
    """Where on the upper face most kinds of sites, then most sites, are near."""
    pins = [pin for pin in job.pins() if pin.side is Side.UPPER]
    places = np.array([to_xy_mm(pin.r_mm, pin.theta_deg) for pin in pins])

    def interest(theta_deg: float) -> tuple[int, int]:
        middle = np.array(to_xy_mm(_busiest_r_mm(job), theta_deg))
        near = np.abs(places - middle).max(axis=1) < NEAR_MM / 2 - 0.5
        return len({pin.condition for pin, is_near in zip(pins, near, strict=True) if is_near}), int(near.sum())

    return float(max(range(0, 360, 5), key=interest))


def drawing(svg: str, wide_px: int) -> bytes:
    """An SVG as PNG on white."""
    source = '#set page(width: 100mm, height: auto, margin: 0mm, fill: white)\n#image("picture.svg", width: 100%)'
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "picture.svg").write_text(svg, encoding="utf-8")
        (folder / "page.typ").write_text(source, encoding="utf-8")
        # Drawn larger and shrunk: curves are broken by a pixel where the renderer's pieces meet.
        made = typst.compile(str(folder / "page.typ"), format="png", ppi=LARGER * wide_px / 100.0 * 25.4)
    picture = Image.open(io.BytesIO(made)).convert("RGB").reduce(LARGER)
    out = io.BytesIO()
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def main() -> None:
    """Write the pictures and say how large they are; exit code 1 if one is too large for a README."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=PICTURES)
    parser.add_argument("--job", type=Path, help="a job of the demo made before, to save its time")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        job = open_job(options.job) if options.job else sample_job(Path(name) / "first-disc")
        made = {
            "reading.jpg": reading(job),
            "sheet.png": drawing(job.out("drawings/upper-5to1.svg").read_text("utf-8"), 900),
            "score.png": drawing(engrave(job.out("tune.musicxml").read_text("utf-8"), fitted=True).pages[0], 1100),
        }
    for file_name, content in made.items():
        (options.out / file_name).write_bytes(content)
        print(f"{file_name:12} {len(content) / 1024:6.0f} KB")
    sys.exit(1 if max(map(len, made.values())) > 1024 * LARGEST_KB else 0)


if __name__ == "__main__":
    main()
