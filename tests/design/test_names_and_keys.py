"""Names that no person gave, and which other keys are written out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from disc.commands.design_words import say_result
from disc.design.alternatives import chosen_shares
from disc.design.arrange.arrange import Share
from disc.design.names import titled
from disc.design.plan import plan_design
from disc.design.settings import DesignSettings
from disc.design.summary import summary_of
from disc.tune.score.records import ScorePart

from .small import PLATE, comb_of, score_of


def share(transposition: int, kept: int, value: int) -> Share:
    return Share(transposition, 10, kept, 0, 0, 10, kept, value, True)


def test_the_key_that_keeps_most_notes_is_one_of_those_written_out() -> None:
    others = [share(2, 7, 90), share(-3, 8, 80), share(5, 9, 70), share(12, 10, 60)]
    assert [one.transposition for one in chosen_shares(others, 2)] == [2, 12]
    assert [one.transposition for one in chosen_shares(others, 4)] == [2, -3, 5, 12]
    assert chosen_shares(others, 0) == [] and chosen_shares([], 3) == []


def test_a_programs_title_gives_way_to_the_files_name() -> None:
    score = score_of([(0, 1, 72), (1, 1, 74)])
    path = Path("a_spring_song.mxl")
    assert titled(replace(score, title="Music21 Fragment"), path).title == "a spring song"
    assert titled(replace(score, title="Piano", parts=(ScorePart("Piano"),)), path).title == "a spring song"
    assert titled(replace(score, title="Piano"), path).title == "Piano"


def test_what_a_fuller_key_costs_is_not_said_of_a_melody_that_gains(capsys, tmp_path) -> None:
    design = plan_design(score_of([(0, 1, 72), (1, 1, 74)]), comb_of([72, 74]), PLATE, DesignSettings())
    found = summary_of(design)
    found["notes_by_change"] = found["notes_by_change"] | {"left out": 4}
    found["melody_kept"] = 6
    other = {"transposition": 12, "lost": 1, "notes": 10, "folded": 5, "melody": 10, "melody_kept": 9, "key": "C"}
    say_result(tmp_path, 30.0, found | {"other_transpositions": [other]})
    assert "3 notes more are kept in C (--transpose 12), with melody 9 of 10, but 5 notes an octave" in _out(capsys)
    say_result(tmp_path, 30.0, found | {"other_transpositions": [other | {"melody_kept": 5}]})
    assert "(--transpose 12), but melody 5 of 10 and 5 notes an octave away." in _out(capsys)


def _out(capsys) -> str:
    return " ".join(capsys.readouterr().out.split())
