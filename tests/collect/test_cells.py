"""Cells of a collection's table are words and numbers, never formulas."""

import csv

from disc.collect.rows import DONE, DiscRow, guarded, write_csv


def test_no_cell_is_taken_for_a_formula(tmp_path):
    write_csv(tmp_path / "c.csv", [DiscRow("=1+1", "@job", DONE, "-x", diameter_mm=-1.5, tune_title="+tune")])
    (row,) = csv.DictReader((tmp_path / "c.csv").open(encoding="utf-8"))
    assert (row["name"], row["job"], row["reason"], row["tune_title"]) == ("'=1+1", "'@job", "'-x", "'+tune")
    assert row["diameter_mm"] == "-1.5" and guarded("plain") == "plain" and guarded(None) is None
