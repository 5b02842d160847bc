"""Files that cannot be read as a photo of a disc: one clear line each, and nothing half-written."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from disc.errors import BadInput, MissingPart
from disc.job import create_job, open_job
from disc.photo import image
from disc.photo.image import load_photo
from disc.photo.read_face import read_face
from disc.photo.read_photos import read_job
from disc.records import Plate, Side

from .photo_sample import SAMPLE


def test_absent_empty_and_not_a_photo(tmp_path):
    with pytest.raises(BadInput, match="no such file"):
        load_photo(tmp_path / "none.jpg")
    (tmp_path / "empty.jpg").write_bytes(b"")
    with pytest.raises(BadInput, match=r"empty\.jpg: the file is empty"):
        load_photo(tmp_path / "empty.jpg")
    (tmp_path / "words.jpg").write_text("these are words")
    with pytest.raises(BadInput, match="not a photo that can be opened"):
        load_photo(tmp_path / "words.jpg")
    with pytest.raises(BadInput, match="folder"):
        load_photo(tmp_path)


@pytest.mark.parametrize("kind", ["jpg", "png", "tif"])
def test_truncated(tmp_path, kind):
    path = tmp_path / f"photo.{kind}"
    pixels = np.random.default_rng(0).integers(0, 255, (400, 400, 3), np.uint8)
    Image.fromarray(pixels).save(path)
    path.write_bytes(path.read_bytes()[:-20000])
    with pytest.raises(BadInput, match="damaged"):
        load_photo(path)


def test_too_large_and_too_small(tmp_path):
    Image.new("1", (16000, 13000)).save(tmp_path / "scan.png")
    with pytest.raises(BadInput, match="megapixels"):
        load_photo(tmp_path / "scan.png")
    Image.new("RGB", (120, 90)).save(tmp_path / "thumb.png")
    with pytest.raises(BadInput, match="too few"):
        load_photo(tmp_path / "thumb.png")


def test_odd_pixel_kinds_open(tmp_path):
    ramp = np.linspace(0, 65535, 300 * 300).reshape(300, 300).astype(np.uint16)
    Image.fromarray(ramp).save(tmp_path / "grey16.png")
    Image.new("1", (300, 300), 1).save(tmp_path / "one.png")
    Image.new("CMYK", (300, 300), (10, 20, 30, 0)).save(tmp_path / "print.jpg")
    Image.new("RGBA", (300, 300), (10, 20, 30, 0)).save(tmp_path / "clear.png")
    for name in ("grey16.png", "one.png", "print.jpg", "clear.png"):
        photo = load_photo(tmp_path / name)
        assert photo.pixels.shape == (300, 300, 3) and photo.pixels.dtype == np.uint8
    grey = load_photo(tmp_path / "grey16.png").pixels
    assert grey[0, 0, 0] < 5 and grey[-1, -1, 0] > 250
    assert load_photo(tmp_path / "clear.png").pixels.min() == 255  # what is clear is white


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["jpg", "png"])
def test_exif_orientation_as_pillow_reads_it(tmp_path, orientation, kind):
    # Reference: Pillow's exif_transpose, an implementation of EXIF 2.3 that shares nothing with ours.
    from PIL import ImageOps

    pixels = np.zeros((240, 320, 3), np.uint8)
    pixels[:80, :100] = (250, 40, 40)
    pixels[160:, 220:] = (40, 250, 40)
    picture = Image.fromarray(pixels)
    exif = picture.getexif()
    exif[0x0112] = orientation
    path = tmp_path / f"turned.{kind}"
    picture.save(path, exif=exif.tobytes(), **({"quality": 95} if kind == "jpg" else {}))
    want = np.asarray(ImageOps.exif_transpose(Image.open(path)).convert("RGB"))[..., ::-1]
    got = load_photo(path).pixels
    assert got.shape == want.shape
    assert np.abs(got.astype(int) - want).mean() < 3


def test_heic_opens(tmp_path):
    from pillow_heif import register_heif_opener

    register_heif_opener()
    Image.new("RGB", (320, 240), (200, 100, 50)).save(tmp_path / "phone.heic")
    photo = load_photo(tmp_path / "phone.heic")
    assert (photo.width, photo.height) == (320, 240)
    assert photo.pixels[100, 100] == pytest.approx([50, 100, 200], abs=6)


def test_focal_length_from_exif(tmp_path):
    # 50 mm on the 36 x 24 mm frame, 43.27 mm across: f is 50 / 43.27 of the picture's diagonal (CIPA DCG-001).
    picture = Image.new("RGB", (400, 300))
    exif = picture.getexif()
    exif.get_ifd(0x8769)[0xA405] = 50
    picture.save(tmp_path / "f.jpg", exif=exif)
    assert load_photo(tmp_path / "f.jpg").focal_px == pytest.approx(500 * 50 / 43.2666, rel=1e-3)


def test_missing_library_names_the_package(monkeypatch):
    import builtins

    real = builtins.__import__

    def fail(name, *rest):
        if name == "cv2":
            raise ImportError("libGL.so.1: cannot open shared object file")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", fail)
    with pytest.raises(MissingPart, match="apt-get install libgl1"):
        image.opencv()


def test_no_disc(tmp_path):
    rng = np.random.default_rng(0)
    wood = np.clip(120 + 40 * np.sin(np.arange(900)[:, None] / 9) + rng.normal(0, 8, (900, 900)), 0, 255)
    Image.fromarray(np.repeat(wood.astype(np.uint8)[..., None], 3, 2)).save(tmp_path / "table.png")
    with pytest.raises(BadInput, match="nothing here looks like a pinned disc"):
        read_face(load_photo(tmp_path / "table.png"), Side.UPPER, Plate(30.0))


def test_cut_off_disc(tmp_path):
    Image.open(SAMPLE / "upper.jpg").crop((600, 0, 2200, 2200)).save(tmp_path / "cut.jpg")
    with pytest.raises(BadInput, match="cut off at the frame"):
        read_face(load_photo(tmp_path / "cut.jpg"), Side.UPPER, Plate(30.0))


def test_a_bad_second_photo_leaves_the_job_as_it_was(tmp_path):
    job = create_job(tmp_path / "job", Plate(30.0))
    before = sorted(p.relative_to(job.folder) for p in job.folder.rglob("*"))
    (tmp_path / "bad.jpg").write_text("no")
    with pytest.raises(BadInput):
        read_job(job, upper=(SAMPLE / "upper.jpg",), lower=(tmp_path / "bad.jpg",))
    again = open_job(job.folder)
    assert sorted(p.relative_to(job.folder) for p in job.folder.rglob("*")) == before
    assert not again.content.faces


def test_command_line(tmp_path):
    create_job(tmp_path / "job", Plate(30.0))
    (tmp_path / "bad.jpg").write_text("no")
    run = _disc("read", tmp_path / "job", "--upper", tmp_path / "bad.jpg")
    assert run.returncode == 2
    assert run.stdout == ""
    assert len(run.stderr.strip().splitlines()) == 1 and "bad.jpg" in run.stderr and "Traceback" not in run.stderr
    run = _disc("read", tmp_path / "job", "--slot-upper", "left", "--upper", SAMPLE / "upper.jpg")
    assert run.returncode == 2 and "--slot-upper" in run.stderr


def _disc(*words):
    code = "import sys; from disc.cli import main; sys.argv[0] = 'disc'; main()"
    return subprocess.run([sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True)
