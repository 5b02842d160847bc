"""What fuzz.py feeds: every reader of a file that a person may bring, with good examples of its files."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from disc.errors import BadInput

if TYPE_CHECKING:
    from disc.job import Job

# The smallest photograph that the photo reader takes, so that mutated ones get beyond the check of its size.
SEED_PICTURE_PX = 200

Reader = Callable[[Path], object]


def _job(path: Path) -> object:
    from disc.job import open_job

    folder = path.parent / "job"
    folder.mkdir(exist_ok=True)
    (folder / "job.json").write_bytes(path.read_bytes())
    return open_job(folder)


def _corrections(path: Path) -> object:
    from disc.job.corrections_file import load_corrections

    return load_corrections(path)


def _pins(path: Path) -> object:
    from disc.tables import read_pins

    return read_pins(path)


def _comb(path: Path) -> object:
    from disc.tables import read_comb

    return read_comb(path)


def _decisions(path: Path) -> object:
    from disc.check.decisions import load_decisions

    return load_decisions(_job_with(path, "decisions.json"))


def _findings(path: Path) -> object:
    from disc.check.store import read_findings

    return read_findings(path)


def _tune(path: Path) -> object:
    from disc.tune.store import load_tune

    return load_tune(_job_with(path, "out/tune.json"))


def _plan(path: Path) -> object:
    from disc.repin.store import load_plan

    return load_plan(_job_with(path, "out/plan.json"))


def _heard(path: Path) -> object:
    from disc.listen.store import LISTEN_FILE, load_listen

    return load_listen(_job_with(path, LISTEN_FILE))


def _known(path: Path) -> object:
    from disc.check.music.known_file import KNOWN_FILE, load_known

    return load_known(_job_with(path, KNOWN_FILE))


def _plucked(path: Path) -> object:
    from disc.listen.comb.plucked_store import PLUCKED_FILE, heard_pitches

    return heard_pitches(_job_with(path, PLUCKED_FILE))


def _journal(path: Path) -> object:
    """The record of an interrupted step, in a job that came from elsewhere."""
    from disc.job import open_job
    from disc.job.journal import JOURNAL, STAGING_FOLDER

    staging = path.parent / "job" / STAGING_FOLDER
    _job_with(path, "out/x")
    shutil.rmtree(staging, ignore_errors=True)
    staging.mkdir()
    (staging / "out").mkdir()
    (staging / "out" / "x").write_text("whole")
    (staging / JOURNAL).write_bytes(path.read_bytes())
    try:
        return open_job(path.parent / "job")
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _log(path: Path) -> object:
    from disc.report.log import LOG_FILE, load_log

    return load_log(_job_with(path, LOG_FILE))


def _object(path: Path) -> object:
    from disc.object.store import parse_object
    from disc.tables import read_text

    return parse_object(read_text(path, "object's sheet"), path)


def _private_photo(path: Path) -> object:
    """A photograph with its private EXIF blanked: as long as before, whatever the bytes; none is refused."""
    from disc.archive.private_exif import blank_private

    data = path.read_bytes()
    if len(blank_private(data)) != len(data):
        raise AssertionError("the length changed")
    if data[:2] not in (b"\xff\xd8", b"II"):
        raise BadInput("not a photograph of this target")
    return data


def _touch(path: Path) -> object:
    from disc.repin.machine.zero import parse_touch

    return parse_touch(path.read_bytes().decode("latin-1"))


def _workshop(path: Path) -> object:
    from disc.offer.workshop import parse_workshop
    from disc.tables import read_text

    return parse_workshop(read_text(path, "workshop's file"), str(path))


def _typed(path: Path) -> str:
    """What a person types: any text without line ends, as the shell hands it on."""
    return path.read_bytes().decode("utf-8", "surrogateescape").replace("\n", " ").replace("\r", " ")


def _length(path: Path) -> object:
    from disc.measures.length import length_mm

    return length_mm(_typed(path))


def _angle(path: Path) -> object:
    from disc.measures.angle import angle_deg

    return angle_deg(_typed(path))


def _pitch(path: Path) -> object:
    from disc.measures.pitch import names_used, pitch_from

    words = _typed(path)
    return pitch_from(words, names=names_used([words]))


def _circles(path: Path) -> object:
    from disc.repin.machine.dividing import parse_circles

    return parse_circles(_typed(path))


def _bag_with(name: str) -> Reader:
    """Verify of a small bag in which one file has become the input. A change of it must be told, wherever one of the
    bag's lists covers it (the lists of the lists cover themselves only by what they say)."""

    def reader(path: Path) -> object:
        from disc.archive.check_bag import verify

        bag = path.parent / "bag"
        if not bag.exists():
            _make_bag(bag)
        good = path.parent / "good"
        if not good.exists():
            good.write_bytes((bag / name).read_bytes())
        (bag / name).write_bytes(path.read_bytes())
        files = verify(bag)
        if path.read_bytes() != good.read_bytes() and not name.startswith("tagmanifest"):
            raise AssertionError("a change was not found")
        return files

    return reader


def _make_bag(bag: Path) -> None:
    """The bag of this process, written out."""
    for name, content in _bag_files().items():
        (bag / name).parent.mkdir(parents=True, exist_ok=True)
        (bag / name).write_bytes(content)
    for folder in ("photos", "out"):
        (bag / "data" / "job" / folder).mkdir(exist_ok=True)


@cache
def _bag_files() -> dict[str, bytes]:
    """A bag as disc archive writes it, but of a job of three lines and without weights."""
    from disc.archive.crate import METADATA, metadata_text
    from disc.archive.make_bag import CHECKSUMS, bag_library
    from disc.job import create_job
    from disc.records import Plate

    with tempfile.TemporaryDirectory() as folder:
        bag = Path(folder) / "bag"
        bag.mkdir()
        job = create_job(bag / "job", Plate(28.0))
        (bag / METADATA).write_text(metadata_text(bag, job, {"name": "a disc"}, "2026-05-01"), encoding="utf-8")
        bag_library().make_bag(str(bag), {"External-Description": "a disc"}, checksums=CHECKSUMS)
        return {p.relative_to(bag).as_posix(): p.read_bytes() for p in bag.rglob("*") if p.is_file()}


def _bag_seed(name: str) -> Callable[[], list[bytes]]:
    return lambda: [_bag_files()[name]]


def _desk_history(path: Path) -> object:
    from disc.desk.open_job.history import load_history

    return load_history(path)


def _discs(path: Path) -> object:
    """The list of a collection's discs, beside one pair of photographs."""
    from disc.collect.items import DISCS_FILE, find_items

    folder = path.parent / "collection"
    folder.mkdir(exist_ok=True)
    for face in ("upper", "lower"):
        (folder / f"a-{face}.jpg").write_bytes(b"")
    (folder / DISCS_FILE).write_bytes(path.read_bytes())
    return find_items(folder, folder / "jobs")


def _row(path: Path) -> object:
    """A disc's row, and the groups that rest on it; a damaged one is made again."""
    from disc.collect.groups import same_habits, same_tune
    from disc.collect.rows import RowStore, write_csv

    store = RowStore(path.parent / "rows")
    place = store.path("a", "a")
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(path.read_bytes())
    found = store.load("a", "a")
    if found is None:
        raise BadInput("no row")
    write_csv(path.parent / "collection.csv", [found[0]])
    return same_habits([found[0]] * 2), same_tune([found[0]] * 2)


def _job_with(path: Path, name: str) -> Job:
    """A job whose file `name` is the input."""
    from disc.job import create_job, open_job
    from disc.records import Plate

    folder = path.parent / "job"
    if not folder.exists():
        create_job(folder, Plate(28.0))
    (folder / name).write_bytes(path.read_bytes())
    return open_job(folder)


def _score(path: Path) -> object:
    from disc.tune.score.read_score import read_score

    return read_score(path)


def _library_score(path: Path) -> object:
    """A file of a person's own collection: read_files lets no file stop a build, whatever it raises in one line."""
    from disc.library.read.read_files import Source, Wanted, read_files

    source = Source("own", path.parent)
    read = [one for batch in read_files([Wanted(state, source) for state in source.states()], 1) for one in batch]
    for one in read:
        if one.why:
            raise BadInput(one.why)
    return [one.tunes for one in read]


def _strikes(path: Path) -> object:
    from disc.listen.strikes_file import read_strikes

    return read_strikes(path)


def _query(path: Path) -> object:
    from disc.library.query_in import read_queries

    return read_queries(path)


def _rates(path: Path) -> object:
    from disc.repin.work.estimate import read_rates

    return read_rates(path)


def _sound(path: Path) -> object:
    from disc.listen.sound.audio import read_recording

    return read_recording(path)


def _photo(path: Path) -> object:
    from disc.photo.image import load_photo

    return load_photo(path)


def _log_photo(path: Path) -> object:
    from disc.report.pictures import small_jpeg, taken_at

    taken_at(path)
    return small_jpeg(path)


JOB = {"schema_version": 1, "plate": {"diameter_mm": 28.0}, "settings": {"key": "D"}, "runs": []}
CORRECTIONS = {"schema": 1, "done": [{"action": "add", "side": "upper", "r_mm": 5, "theta_deg": 3, "changes": []}]}
PINS = "id,side,r_mm,theta_deg,condition,tooth\n1,upper,7.31,121.4,sound,5\n2,lower,8,359.9,bent,\n"
PINS_OF_A_GERMAN_SHEET = "id;side;r_mm;theta_deg;condition\n2;lower;8;359,9;bent\n"
COMB_IN_WORDS = (
    "number;side;tip_r;tip_theta;pitch;condition\n1;upper;4,6 mm;12°30';Cis5;sound\n2;lower;0.2 in;;;broken\n"
)
COMB = "number,side,tip_r_mm,tip_theta_deg,pitch\n1,upper,4.6,12.0,67.0\n2,lower,5.1,,\n"
STRIKES = "turn_fraction,tooth\n0.125,3\n0.5,4\n"
QUERY = "onset_s,pitch\n0.5,67\n1.0,69.5\n1.5,71\n2.0,67\n2.5,67\n"
DECISION = {"kind": "missing", "side": "upper", "r_mm": 5.0, "theta_deg": 3.0, "verdict": "accepted"}
DECISIONS = {"schema": 1, "decisions": [DECISION | {"reason": "seen", "at": "2026-01-01"}]}
EVIDENCE = {"kind": "seen", "words": "an empty hole", "weight": 0.9}
FINDING = {"kind": "missing", "side": "upper", "r_mm": 5.0, "theta_deg": 3.0, "probability": 0.9, "pin_id": 1}
FINDING |= {"tooth": None, "bar": 1, "beat": "5/2", "evidence": [EVIDENCE], "heading": "missing pin"}
FINDINGS = {"schema": 1, "findings": [FINDING], "summary": {}}
HEARD = {"schema": 1, "findings": [FINDING | {"listen_s": 1.5}]}
LOG_STEP = {
    "number": 1,
    "at": "2026-01-01T10:00:00",
    "note": "springs down",
    "photos": ["photos/log/1.jpg"],
    "done": False,
}
LOG = {"schema": 1, "steps": [LOG_STEP | {"parts": [{"name": "fly", "screws": "2 short"}]}]}
DESK_STEP = {"words": "a", "at": "b", "corrections": 1, "changes": []}
DESK = {"schema": 1, "done": 1, "steps": [DESK_STEP]}
KNOWN = {"schema": 1, "file": "a/b.abc", "number": 1, "title": "A", "collection": "a", "metre": [6, 8], "fifths": 1}
KNOWN |= {"onset_tick": [0, 480], "duration_tick": [480, 480], "pitch": [67, 69], "bar": [1, 1]}
PLUCKED = {"teeth": [{"tooth": 1, "pitch": 67.1}, {"tooth": 2, "pitch": None}]}
OBJECT = {"schema": 1, "fields": {"maker": "unsigned", "owner": "A", "entry_date": "2026-05-01"}}
STEP_JOURNAL = {"names": ["out/x"], "removed": ["out/y"]}
DISCS = "name,diameter_mm,turns,comb\na,28.5,clockwise,comb.csv\nb,30,,\n"
ROW: dict[str, Any] = {
    "mark": "m",
    "row": {"name": "a", "job": "a", "status": "done", "diameter_mm": 28.0, "tracks": 20},
}
ROW["row"] |= {"inner_r_mm": 4.5, "outer_r_mm": 12.0, "track_gap_mm": 0.5, "pin_diameter_mm": 0.25, "seconds": 1}
ROW["row"] |= {"tune_file": "a.abc", "tune_number": "1", "tune_title": "A", "tune_probability": 0.9}
ABC = "X:1\nT:A\nM:6/8\nL:1/8\nK:Dmix\n|:AB=c d2e|[1 (3fga f3:|[2 d3-d3|]\n"
KERN = "**kern\n*M4/4\n*k[f#]\n=1\n4g\n8a\n8b\n2.cc\n*-\n"
MUSICXML = """<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>x</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>2</divisions><time><beats>2</beats>
<beat-type>4</beat-type></time></attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration>
</note></measure></part></score-partwise>"""


def _tune_seed() -> bytes:
    from fractions import Fraction

    from disc.records import Key, Metre, Note, Repeat, Tune
    from disc.tune.store import TUNE

    notes = (Note(Fraction(1, 3), Fraction(1, 2), 74, pins=(1, 2)),)
    tune = Tune(notes, Metre(6, 8), Key(2, "major", 2), Fraction(1, 2), 0.5, repeats=(Repeat(1, 4),))
    return TUNE.text(tune).encode()


def _plan_seed() -> bytes:
    from disc.job import create_job
    from disc.records import Condition, Pin, Plate, Side
    from disc.repin.make_plan import PlanSettings, make_plan
    from disc.repin.store import format_plan
    from disc.repin.work.estimate import parse_rates, sample_rates_text

    with tempfile.TemporaryDirectory() as name:
        job = create_job(Path(name) / "job", Plate(28.0))
        with job.step("read") as stage:
            job.stage_reading(stage, (Pin(1, Side.UPPER, 5.0, 90.0, 0.25, condition=Condition.MISSING),))
        return format_plan(make_plan(job, PlanSettings(), parse_rates(sample_rates_text(), "rates"))).encode()


def _rates_seed() -> bytes:
    from disc.repin.work.estimate import sample_rates_text

    return sample_rates_text().encode()


def _midi_seed() -> bytes:
    import io

    import mido

    file = mido.MidiFile(tracks=[mido.MidiTrack()])
    for note in (60, 64):
        file.tracks[0].append(mido.Message("note_on", note=note, time=0))
        file.tracks[0].append(mido.Message("note_off", note=note, time=240))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _mxl_seed() -> bytes:
    import io
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as bag:
        bag.writestr(
            "META-INF/container.xml", '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'
        )
        bag.writestr("a.xml", MUSICXML)
    return out.getvalue()


def _sound_seed(form: str) -> bytes:
    import io

    import soundfile

    out = io.BytesIO()
    soundfile.write(out, np.sin(np.arange(4900) * 0.3) * 0.5, 8000, format=form)
    return out.getvalue()


def _picture_seed(form: str) -> bytes:
    import io

    from PIL import Image

    out = io.BytesIO()
    speckled = np.random.default_rng(1).integers(90, 110, (25, 25, 3), np.uint8)
    large = Image.fromarray(speckled).resize((SEED_PICTURE_PX, SEED_PICTURE_PX), Image.Resampling.NEAREST)
    large.save(out, form, **({"compression": "tiff_deflate"} if form == "TIFF" else {}))
    return out.getvalue()


def _exif_seed(form: str) -> bytes:
    import io

    from PIL import Image

    exif = Image.Exif()
    exif[0x013B] = "A"
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, form, exif=exif)
    return out.getvalue()


def _workshop_seed() -> bytes:
    from disc.offer.workshop import sample_text

    return sample_text().encode()


# Every file of a bag that verify reads as more than bytes.
BAG_FILES = {
    "bag-crate": "data/ro-crate-metadata.json",
    "bag-list": "manifest-sha256.txt",
    "bag-tags": "tagmanifest-sha512.txt",
    "bag-head": "bagit.txt",
    "bag-info": "bag-info.txt",
}


# name: (reader, ending, seeds)
TARGETS: dict[str, tuple[Reader, str, Callable[[], list[bytes]]]] = {
    "job": (_job, ".json", lambda: [json.dumps(JOB).encode()]),
    "corrections": (_corrections, ".json", lambda: [json.dumps(CORRECTIONS).encode()]),
    "pins": (_pins, ".csv", lambda: [PINS.encode(), PINS_OF_A_GERMAN_SHEET.encode("utf-8-sig")]),
    "comb": (_comb, ".csv", lambda: [COMB.encode(), COMB_IN_WORDS.encode()]),
    "strikes": (_strikes, ".csv", lambda: [STRIKES.encode()]),
    "query": (_query, ".csv", lambda: [QUERY.encode()]),
    "decisions": (_decisions, ".json", lambda: [json.dumps(DECISIONS).encode()]),
    "findings": (_findings, ".json", lambda: [json.dumps(FINDINGS).encode()]),
    "heard": (_heard, ".json", lambda: [json.dumps(HEARD).encode()]),
    "tune": (_tune, ".json", lambda: [_tune_seed()]),
    "plan": (_plan, ".json", lambda: [_plan_seed()]),
    "rates": (_rates, ".toml", lambda: [_rates_seed()]),
    "known": (_known, ".json", lambda: [json.dumps(KNOWN).encode()]),
    "plucked": (_plucked, ".json", lambda: [json.dumps(PLUCKED).encode()]),
    "journal": (_journal, ".json", lambda: [json.dumps(STEP_JOURNAL).encode()]),
    "discs": (_discs, ".csv", lambda: [DISCS.encode()]),
    "row": (_row, ".json", lambda: [json.dumps(ROW).encode()]),
    "log": (_log, ".json", lambda: [json.dumps(LOG).encode()]),
    "object": (_object, ".json", lambda: [json.dumps(OBJECT).encode()]),
    "private-photo": (_private_photo, ".jpg", lambda: [_exif_seed("JPEG"), _exif_seed("TIFF")]),
    "touch": (_touch, ".txt", lambda: [b"slot=12.5,-3.25", b"pin 12 = 1,5;2,5"]),
    "workshop": (_workshop, ".toml", lambda: [_workshop_seed()]),
    "length": (
        _length,
        ".txt",
        lambda: [w.encode() for w in ("28,5", "1 1/8 in", "12 thou", "#80", "30 AWG", "-1e3 µm")],
    ),
    "angle": (_angle, ".txt", lambda: [w.encode() for w in ("123,4", "123°30'15\"", "5 holes of 24", "3+12/20 turns")]),
    "pitch": (
        _pitch,
        ".txt",
        lambda: [w.encode() for w in ("C#5-14", "cis''", "do dièse 5", "554,4 Hz", "73.2", "H,")],
    ),
    "circles": (_circles, ".txt", lambda: [b"15,16,17;18", b"24"]),
    **{name: (_bag_with(file), ".txt", _bag_seed(file)) for name, file in BAG_FILES.items()},
    "desk": (_desk_history, ".json", lambda: [json.dumps(DESK).encode()]),
    "midi": (_score, ".mid", lambda: [_midi_seed()]),
    "musicxml": (_score, ".musicxml", lambda: [MUSICXML.encode()]),
    "mxl": (_score, ".mxl", lambda: [_mxl_seed()]),
    "abc": (_score, ".abc", lambda: [ABC.encode()]),
    "kern": (_score, ".krn", lambda: [KERN.encode()]),
    "own-abc": (_library_score, ".abc", lambda: [ABC.encode()]),
    "own-midi": (_library_score, ".mid", lambda: [_midi_seed()]),
    "query-abc": (_query, ".abc", lambda: [ABC.encode()]),
    "wav": (_sound, ".wav", lambda: [_sound_seed("WAV")]),
    "flac": (_sound, ".flac", lambda: [_sound_seed("FLAC")]),
    "jpeg": (_photo, ".jpg", lambda: [_picture_seed("JPEG")]),
    "png": (_photo, ".png", lambda: [_picture_seed("PNG")]),
    "tiff": (_photo, ".tif", lambda: [_picture_seed("TIFF")]),
    "log-photo": (_log_photo, ".jpg", lambda: [_picture_seed("JPEG")]),
}
