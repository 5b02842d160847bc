"""Two tunes on one disc: each whole, in its order, parted by a silence; what is proven; what the job keeps of both."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from disc.comb.strikes import strikes_from_pins
from disc.design.plan import default_plate
from disc.design.request import Request, TuneAsked, carry_out, tunes_asked
from disc.design.settings import DesignSettings
from disc.design.two_tunes import BREATH_S, TwoTunes, plan_two
from disc.errors import BadInput
from disc.job import open_job
from disc.records import Metre
from disc.tables import format_comb
from disc.tune.read.read_turn import read_turn
from disc.tune.score.read_score import read_score
from disc.turn.said_of_bars import by_place
from disc.turn.settings import turn_settings

from .checker import Rules, broken_rules
from .small import PLATE, comb_of, score_of

SETTINGS = DesignSettings()
# Two tunes of our own: a walking one in four and a jig, whose keys lie a tone apart.
FOUR = "X:1\nT:The Oil Cup\nM:4/4\nL:1/8\nQ:1/4=104\nK:C\n" + "|c2e2g2e2|f2d2B2d2|c2e2g2a2|g4e4|" * 2 + "\n"
JIG = "X:1\nT:The Loose Screw\nM:6/8\nL:1/8\nQ:3/8=96\nK:D\n" + "|dfd A2d|fed e2A|dfd A2d|ede d3|" * 2 + "\n"
PITCHES = [69, 71, 72, 73, 74, 76, 77, 78, 79, 81, 83, 84, 86]


@pytest.fixture(scope="module")
def planned(tmp_path_factory) -> tuple[TwoTunes, Path]:
    folder = tmp_path_factory.mktemp("two")
    (folder / "four.abc").write_text(FOUR)
    (folder / "jig.abc").write_text(JIG)
    (folder / "comb.csv").write_text(format_comb(comb_of(PITCHES, step_mm=0.65)))
    asked = Request(
        folder / "four.abc",
        folder / "job",
        folder / "comb.csv",
        transpose=0,
        second=TuneAsked(folder / "jig.abc", transpose=0),
    )
    _, design = carry_out(asked)
    assert isinstance(design, TwoTunes)
    return design, folder


def test_both_are_played_whole_one_after_the_other(planned) -> None:
    """Against the files, note for note: pitches in order, the distances of each tune's strikes as they are written."""
    design, folder = planned
    job = open_job(folder / "job")
    strikes = sorted(strikes_from_pins(job.pins(), job.comb(), job.plate), key=lambda strike: strike.onset_s)
    written = [read_score(folder / name)[0] for name in ("four.abc", "jig.abc")]
    assert [round(s.pitch or 0) for s in strikes] == [n.pitch for score in written for n in score.notes]
    assert len({pin.id for pin in job.pins()}) == len(strikes) == len(design.first.pins) + len(design.second.pins)
    at = 0
    for score, part in zip(written, design.parts, strict=True):
        heard = [s.onset_s for s in strikes[at : at + len(score.notes)]]
        quarter_s = (heard[-1] - heard[0]) / float(score.notes[-1].onset_quarter - score.notes[0].onset_quarter)
        assert score.quarter_s is not None and 0.94 <= quarter_s / score.quarter_s <= 1.34
        assert quarter_s == pytest.approx(part.timing.quarter_s, rel=1e-3)
        for note, onset_s in zip(score.notes, heard, strict=True):
            assert onset_s - heard[0] == pytest.approx(float(note.onset_quarter) * quarter_s, abs=1e-3)
        at += len(score.notes)
    first_ends = strikes[len(written[0].notes) - 1].onset_s + 2 * design.first.timing.quarter_s  # its last is a half
    assert strikes[len(written[0].notes)].onset_s - first_ends >= 0.94 * BREATH_S


def test_the_disc_can_be_made(planned) -> None:
    design, _ = planned
    pins = (*design.first.pins, *design.second.pins)
    assert broken_rules(pins, design.first.comb, design.first.plate, Rules()) == []
    assert design.value == design.bound


def test_the_job_knows_both_tunes(planned) -> None:
    """Read again from the pins alone with what the job keeps: two titles, two metres, two keys, bars counted on."""
    _, folder = planned
    job = open_job(folder / "job")
    strikes = strikes_from_pins(job.pins(), job.comb(), job.plate)
    tune = read_turn(strikes, job.plate, turn_settings(job.settings).tune).tune
    assert [part.title for part in tune.parts] == ["The Oil Cup", "The Loose Screw"]
    assert [part.metre for part in tune.parts] == [Metre(4, 4), Metre(6, 8)]
    assert [part.key.tonic for part in tune.parts] == [0, 2] and [part.bar for part in tune.parts] == [1, 9]
    summary = json.loads((folder / "job" / "out" / "design.json").read_text())
    assert summary["notes"] == sum(one["notes"] for one in summary["tunes"]) and summary["title"].count(" / ") == 1
    assert by_place(job, {"section_at": "none"})["later"] == "auto"


def test_tips_that_cannot_pass_hold_across_the_tunes() -> None:
    """Two teeth on nearly one track: what the first tune plays on one of them keeps the second off the other."""
    close = comb_of([72, 76, 79, 81], step_mm=0.7)
    second = replace(close.teeth[1], tip_r_mm=close.teeth[0].tip_r_mm - 0.1)
    comb = replace(close, teeth=(close.teeth[0], second, *close.teeth[2:]))
    scores = (
        score_of([(0.0, 1.0, 72), (1.0, 1.0, 79), (2.0, 1.0, 72), (3.0, 1.0, 79)]),
        score_of([(0.0, 1.0, 76), (1.0, 1.0, 79), (2.0, 1.0, 81), (3.0, 1.0, 79)]),
    )
    planned = plan_two(scores, comb, PLATE, SETTINGS, transpositions=(0, 0))
    pins = (*planned.first.pins, *planned.second.pins)
    assert {pin.tooth for pin in pins} in ({1, 3, 4}, {2, 3, 4})
    assert planned.value < planned.bound  # each alone could have more: no proof is claimed


def test_too_long_is_told_with_both_lengths() -> None:
    long = score_of([(float(i), 1.0, 72 + i % 2) for i in range(120)])
    comb = comb_of([72, 73, 76])
    with pytest.raises(BadInput, match=r"both tunes are too long .* Take bars of each"):
        plan_two((long, long), comb, default_plate(comb, SETTINGS), SETTINGS)


def test_what_is_asked_of_each() -> None:
    a, b = Path("a.abc"), Path("b.abc")
    assert tunes_asked([a]) == (TuneAsked(a), None)
    assert tunes_asked([a], [3, 5]) == (TuneAsked(a, 3), TuneAsked(a, 5))
    assert tunes_asked([a, b], None, None, ["1-8"], [2, -3]) == (
        TuneAsked(a, bars="1-8", transpose=2),
        TuneAsked(b, bars="1-8", transpose=-3),
    )
    for files, bars in (([a, b, a], None), ([a], ["1-8", "1-4"])):
        with pytest.raises(BadInput):
            tunes_asked(files, None, None, bars)


@pytest.mark.parametrize("wish", [{"times": 2}, {"alternatives": 1}, {"keep_bars": "1-2"}])
def test_what_is_of_one_tune_only(planned, tmp_path: Path, wish) -> None:
    _, folder = planned
    asked = Request(folder / "four.abc", tmp_path / "job", folder / "comb.csv", second=TuneAsked(folder / "jig.abc"))
    with pytest.raises(BadInput, match="one tune only"):
        carry_out(replace(asked, **wish))
    assert not (tmp_path / "job").exists()
