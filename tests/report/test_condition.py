"""The condition report: every part it can show, in words that stay words, in three languages."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from disc.check.check_job import check_job
from disc.errors import BadInput
from disc.job import create_job, open_job
from disc.object.store import change_object
from disc.pitch_names import cents_off, note_name
from disc.records import Comb, Condition, Pin, Plate, Side, Tooth
from disc.report.about_music import tune_part
from disc.report.about_object import measuring_part
from disc.report.blocks import before_and_after_signature, table
from disc.report.condition import gather, make_report
from disc.report.headings import HEADINGS, PARTS, Language, heading
from disc.report.log import add_step
from disc.report.pictures import small_jpeg
from disc.tables import format_comb
from disc.words import chance

PLATE = Plate(28.0, revolution_s=48.0, thickness_mm=1.0)
LONG = tuple(Tooth(n, Side.UPPER, 4.0 + 0.45 * n, 10.0 * n, 57.0 + n) for n in range(1, 25))
TEETH = tuple(Tooth(n, Side.UPPER, 4.0 + 0.5 * n, 10.0 * n, 66.86 + n) for n in range(1, 11))


def invented_pins():
    rng = np.random.default_rng(11)
    return tuple(
        Pin(n, Side.UPPER, TEETH[n % 10].tip_r_mm, float(rng.uniform(20, 340)), 0.25, 0.5, tooth=n % 10 + 1)
        for n in range(1, 41)
    )


def job_with(folder, pins):
    job = create_job(folder, PLATE)
    with job.step("read") as stage:
        job.stage_reading(stage, pins)
        job.stage_comb(stage, Comb(TEETH))
    return job


@pytest.fixture
def job(tmp_path):
    pins = list(invented_pins())
    pins[3] = replace(pins[3], condition=Condition.STUB, height_mm=0.05)
    made = job_with(tmp_path / "disc <1> & #2", tuple(pins))
    check_job(made)
    Image.new("RGB", (60, 40), "red").save(tmp_path / "p.png")
    add_step(made, 'cock *off* "carefully"', [tmp_path / "p.png"], ["cock: 1 screw"])
    return made


# ASA / ISO 16: A4 is 440 Hz and MIDI 69 (MIDI 1.0); middle C is C4, MIDI 60.
@pytest.mark.parametrize("pitch, name, cents", [(69.0, "A4", 0.0), (68.86, "A4", -14.0), (60.2, "C4", 20.0)])
def test_note_names_and_cents(pitch, name, cents):
    assert note_name(pitch) == name
    assert cents_off(pitch) == pytest.approx(cents)


def test_every_heading_in_every_language():
    assert set(PARTS) <= set(HEADINGS)
    for key in HEADINGS:
        assert all(heading(key, language) for language in Language)


def test_the_page_holds_what_the_job_knows_and_needs_no_other_file(job):
    make_report(job)
    page = (job.folder / "out/report.html").read_text()
    for words in ("disc &lt;1&gt; &amp; #2", "cock: 1 screw", "440", "stub", "Let the mainsprings down", "28.00 mm"):
        assert words in page
    assert not re.findall(r'(?:src|href)="(?!data:|#)', page)
    assert (job.folder / "out/report.pdf").read_bytes().startswith(b"%PDF")


def test_the_pdf_says_the_same(job):
    make_report(job, language=Language.DE)
    text = subprocess.run(
        ["pdftotext", "-layout", job.folder / "out/report-de.pdf", "-"], capture_output=True, text=True
    )
    for words in ("Zustandsbericht: disc <1> & #2", 'cock *off* "carefully"', "Der Kamm", "Stumpf"):
        assert words in text.stdout


def test_same_job_same_report(job):
    make_report(job)
    first = (job.folder / "out/report.pdf").read_bytes()
    with_only = ("object", "comb", "findings", "log")
    make_report(job, with_only)
    second = (job.folder / "out/report-parts.pdf").read_bytes()
    make_report(open_job(job.folder), with_only)
    assert (job.folder / "out/report-parts.pdf").read_bytes() == second != first
    assert (job.folder / "out/report.pdf").read_bytes() == first  # the whole report is not overwritten by a part


def test_the_copy_for_publication_names_nobody(job):
    change_object(job, {"owner": "Frau Muster", "maker": "unsigned", "customer": "her nephew"})
    make_report(job, language=Language.FR)
    make_report(job, language=Language.FR, for_publication=True)
    whole, public = ((job.folder / f"out/report-{n}.html").read_text() for n in ("fr", "publication-fr"))
    assert "Frau Muster" in whole and "unsigned" in whole and "Fabricant" in whole
    assert "Muster" not in public and "nephew" not in public and "unsigned" in public
    assert "Version pour publication" in public


def test_before_and_after(job, tmp_path):
    mended = job_with(tmp_path / "after", invented_pins())
    sections = gather(mended, ("comparison",), job.folder)
    assert [section.key for section in sections] == ["comparison"]
    (_, changes) = sections[0].blocks
    assert len(changes.rows) == 1
    assert changes.rows[0][-1] == "4"


def test_an_empty_job_has_a_short_report(tmp_path):
    made = create_job(tmp_path / "new", PLATE)
    assert [section.key for section in make_report(made)] == ["object", "cautions", "provenance"]


def test_parts_that_are_none(job):
    with pytest.raises(BadInput, match="the report has no part 'price'; it has doubts, object, map, photographs"):
        make_report(job, ("price",))


def test_by_command(job):
    code = "from disc.cli import main; main()"
    run = [sys.executable, "-c", code, "report", str(job.folder)]
    done = subprocess.run([*run, "--parts", "object, comb", "--json"], capture_output=True, text=True)
    assert json.loads(done.stdout)["parts"] == ["object", "comb"]
    wrong = subprocess.run([*run, "--language", "xx"], capture_output=True, text=True)
    assert (wrong.returncode, len(wrong.stderr.splitlines())) == (2, 1)


def test_columns_without_words_are_left_out():
    made = table(("no.", "what", "decided"), [(1, "stub", None), (2, "bent", "")], right=(0, 2))
    assert made.heading == ("no.", "what") and made.right == {0}
    assert made.rows == (("1", "stub"), ("2", "bent"))


def test_a_long_narrow_table_is_set_in_halves_that_hold_every_row():
    made = table(("tooth", "Hz"), [(n, 100 + n) for n in range(1, 12)], right=(0, 1), halved=True)
    first, second = made.parts()
    assert [len(part.rows) for part in (first, second)] == [6, 5]
    assert first.rows + second.rows == made.rows and first.right == second.right == made.right
    short = table(("tooth", "Hz"), [(1, 101), (2, 102)], halved=True)
    assert len(short.parts()) == 1


@pytest.mark.parametrize(
    "probability, words", [(1.0, "> 99 %"), (0.994, "99 %"), (0.5, "50 %"), (0.004, "< 1 %"), (0.0, "< 1 %")]
)
def test_a_report_never_claims_certainty(probability, words):
    assert chance(probability) == words


def test_the_signature_stands_before_the_list_of_files(job):
    sections = make_report(job)
    before, after = before_and_after_signature(sections)
    assert [section.key for section in after] == ["provenance"] and (*before, *after) == sections
    page = (job.folder / "out/report.html").read_text()
    assert page.index('class="sign"') < page.index('id="provenance"')


def test_a_photograph_is_cut_to_its_disc(tmp_path):
    picture = Image.new("RGB", (200, 100), "red")
    picture.paste("blue", (150, 0, 200, 50))  # what stands in a corner, outside of the disc
    picture.save(tmp_path / "p.png")
    around = np.arange(0, 360, 5) * np.pi / 180
    outline = [(100 + 40 * np.cos(a), 50 + 40 * np.sin(a)) for a in around]
    cut = Image.open(io.BytesIO(small_jpeg(tmp_path / "p.png", 500, outline)))
    assert abs(cut.width - 81) <= 1 and abs(cut.height - 81) <= 1
    pixels = np.asarray(cut).astype(int)
    assert (pixels[1, 1] > 240).all()  # white in the corner
    assert pixels[40, 40, 0] > 240 and pixels[40, 40, 1] < 20
    assert not ((pixels[..., 2] > 200) & (pixels[..., 0] < 50)).any()


def test_identified_with_its_evidence(job):
    match = {"title": "White Jock.", "collection": "airs", "file": "a.abc", "number": 36, "transposition": -2.03}
    match |= {"from_bar": 1, "to_bar": 16, "agree": 73, "absent": [1, 2], "displaced": [], "extra": [5, 6, 7]}
    weak = match | {"title": "Another", "probability": 0.001}
    job.content.results["identify"] = {"matches": [match | {"probability": 0.98}, weak]}
    words, rows = tune_part(job).blocks[:2]
    assert "“White Jock” (probability 98 %): bars 1 to 16 of the print, 2 semitones lower" in words.text
    assert (
        "strikes that agree: 73; notes of the print that are absent: 2, displaced: 0; strikes that are not"
        in words.text
    )
    assert [row[0] for row in rows.rows] == ["White Jock."]


def test_where_disc_and_print_differ_and_the_parts_of_a_disc_with_two_tunes_are_said(job):
    match = {"title": "White Jock.", "file": "a.abc", "number": 36, "probability": 0.98, "differs_in_bars": [3, 7, 8]}
    parts = [
        {"from_turn": 0.0, "to_turn": 0.48, "title": "White Jock.", "probability": 0.98},
        {"from_turn": 0.52, "to_turn": 1.0, "title": "Another", "probability": 0.9},
    ]
    job.content.results["identify"] = {"matches": [match], "parts": parts}
    words, two = tune_part(job).blocks[:2]
    assert words.text.endswith("Disc and print differ in bars 3, 7, 8 of the print.")
    assert "52 to 100 % of the playing time, “Another” (probability 90 %)" in two.text
    match["differs_in_bars"] = list(range(20))
    assert tune_part(job).blocks[0].text.endswith("Disc and print differ in 20 bars.")


def test_a_designed_disc_is_not_said_to_have_been_seen(tmp_path):
    score, comb = tmp_path / "small.abc", tmp_path / "comb.csv"
    score.write_text("X:1\nT:Small\nM:6/8\nL:1/8\nK:G\n|:GAB cBA|Bcd e2d|GAB cBA|BGD G3:|\n")
    comb.write_text(format_comb(Comb(LONG)))
    code = "from disc.cli import main; main()"
    run = [sys.executable, "-c", code, "design", str(score), "--comb", str(comb), "--out", str(tmp_path / "new")]
    assert subprocess.run([*run, "--diameter-mm", "34"], capture_output=True, text=True).returncode == 0
    sections = {section.key: section for section in make_report(open_job(tmp_path / "new"))}
    assert "as laid out, not yet seen" in sections["object"].blocks[-1].text
    assert sections["map"].blocks[0].caption == "The disc as designed."
    words, score_picture = sections["tune"].blocks
    assert "As laid out on the disc." in words.text and "red: left out" in score_picture.caption


def test_what_was_heard_stands_under_how_it_was_measured(job):
    turn = {"file": "turn.m4a", "revolution_s": 47.934, "silent": 2, "extra": 1, "early_late": 3, "weak": 0}
    tune = {
        "metre": "6/8",
        "metre_probability": 0.97,
        "key": "D major",
        "key_probability": 0.999,
        "setting_error_s": 0.02,
    }
    job.content.results |= {"listen": turn, "tune": tune, "plucked": {"file": "teeth.wav"}}
    text = " ".join(measuring_part(job).blocks[0].items)
    for words in (
        "turn.m4a): one turn takes 47.93",
        "silent: 2, sounds without a pin: 1, early or late: 3",
        "teeth.wav",
    ):
        assert words in text
    assert "6/8 (probability 97 %), D major (probability > 99 %); a strike stands 20" in text


def test_the_score_is_only_as_tall_as_its_music():
    from disc.tune.write.engrave import engrave

    note = "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
    bar = f'<measure number="1"><attributes><divisions>1</divisions></attributes>{note}</measure>'
    head = '<part-list><score-part id="P1"><part-name>x</part-name></score-part></part-list>'
    score = f'<score-partwise version="4.0">{head}<part id="P1">{bar}</part></score-partwise>'

    def tall_to_wide(page):
        wide, tall = map(float, re.search(r'viewBox="0 0 (\S+) (\S+)"', page).groups())
        return tall / wide

    assert tall_to_wide(engrave(score).pages[0]) == pytest.approx(297 / 210, abs=0.01)  # ISO 216, A4
    assert tall_to_wide(engrave(score, fitted=True).pages[0]) < 0.2


def test_what_the_recordings_left_in_doubt_and_how_the_comb_is_tuned_stand_in_the_report(job):
    from disc.doubts import doubts_to_json
    from disc.listen.comb.plucked_store import PluckedFile, stage_plucked
    from disc.listen.store import LISTEN_FILE
    from disc.records import About, Doubt
    from disc.stored import json_text

    teeth = (*TEETH[:9], replace(TEETH[9], pitch=TEETH[8].pitch + 0.1))
    heard = [Doubt(About.COMB, "tooth 4 (+51 cents) sounds off the comb's table.", "Pluck it again.")]
    with job.step("listen") as stage:
        job.stage_comb(stage, Comb(teeth))
        stage_plucked(stage, PluckedFile(teeth=(), doubts=doubts_to_json([Doubt(About.COMB, "a knock at 2.0 s.")])))
        turn = {"doubts": doubts_to_json(heard)}
        stage.write_text(LISTEN_FILE, json_text({"schema": 1, "findings": [], "turn": turn}))
    sections = {section.key: section for section in gather(job, ("doubts", "comb"))}
    doubts = str(sections["doubts"])
    assert "tooth 4 (+51 cents) sounds off the comb's table" in doubts and "a knock at 2.0 s" in doubts
    tuning = next(b for b in sections["comb"].blocks if getattr(b, "heading", ("",))[-1] == "mass at the tip, %")
    row = next(row for row in tuning.rows if row[0] == "10")
    assert row[4:6] == ("9", "+10")  # its twin, ten cents lower
    # 10 cents are 2 x 10 x ln 2 / 1200 = 1.16 % of the swinging mass.
    other = next(row for row in tuning.rows if row[0] == "9")
    assert float(row[6]) - float(other[6]) == pytest.approx(1.16, abs=0.11)
    assert "leave it as it is" in str(sections["comb"])
