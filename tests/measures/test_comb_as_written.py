"""Comb tables as restorers write them, by their headings, units, languages and decimal signs; and wrong ones."""

from __future__ import annotations

import pytest

from disc.errors import BadInput
from disc.records import Side, ToothCondition
from disc.tables import format_comb, read_comb

RIGHT = {
    "our own": "number,side,tip_r_mm,tip_theta_deg,pitch\n1,upper,9.5,12.5,73\n2,lower,8,350,74.5\n",
    "names": "number,side,tip_r_mm,tip_theta_deg,pitch\n1,upper,9.5,12.5,C#5\n2,lower,8,350,D5+50\n",
    "german": 'Nr.;Seite;tip_r;Winkel;Ton;Zustand\n1;oben;9,5;12°30\';Cis5;heil\n2;unten;"8,0 mm";350;D5 +50;stumm\n',
    "german, a bare B": "Nr;Seite;tip_r;Winkel;Ton\n1;oben;9,5;12,5;Cis5\n2;unten;8;350;74,5\n",
    "french": "n°\tface\ttip_r_mm\tangle\tnote\tétat\n"
    "1\tdessus\t9,5\t12,5\tdo#5\tsaine\n2\tdessous\t8,0\t350°\tRé5+50\tmuette\n",
    "hertz": "tooth,side,tip_r_mm,tip_theta_deg,Hz\n1,top,9.5,12.5,554.365\n2,bottom,8,350,604.54\n",
    "inches": 'number,side,tip_r_in,tip_theta_deg,pitch\n1,upper,0.374016,12.5,73\n2,lower,0.314961,350,74.5\n',
    "thou": "number,side,tip_r_thou,tip_theta_deg,pitch\n1,upper,374.016,12.5,73\n2,lower,314.961,350,74.5\n",
    "unit in the cell": "number,side,tip_r_mm,tip_theta_deg,pitch\n"
    "1,upper,374.016 thou,12° 30',73\n2,lower,8 mm,350,74.5\n",
    "spreadsheet": "\ufeffsep=;\nnumber;side;tip_r_mm;tip_theta_deg;pitch\r\n"
    "1.0;Upper;9,5;12,5;554,365 Hz\r\n2.0;LOWER;8,0;350;74,5\r\n",
}  # fmt: skip


@pytest.mark.parametrize("name", RIGHT)
def test_the_same_two_teeth_however_they_are_written(name, tmp_path):
    (tmp_path / "comb.csv").write_text(RIGHT[name], encoding="utf-8")
    first, second = read_comb(tmp_path / "comb.csv").teeth
    assert (first.number, first.side, second.number, second.side) == (1, Side.UPPER, 2, Side.LOWER)
    assert (first.tip_r_mm, second.tip_r_mm) == pytest.approx((9.5, 8.0), abs=1e-4)
    assert (first.tip_theta_deg, second.tip_theta_deg) == pytest.approx((12.5, 350.0))
    assert (first.pitch, second.pitch) == pytest.approx((73.0, 74.5), abs=1e-3)
    if first.condition is not None:
        assert (first.condition, second.condition) == (ToothCondition.SOUND, ToothCondition.DEAD)


def test_every_condition_in_three_languages(tmp_path):
    words = (
        "sound,dead,broken,missing,replaced,buzzing,doubled",
        "heil,stumm,gebrochen,fehlt,ersetzt,schnarrt,doppelt",
    )
    words += ("saine,muette,cassée,manquante,remplacée,grésille,doublée",)
    for line in words:
        rows = "".join(f"{n},upper,{5 + n},,,{word}\n" for n, word in enumerate(line.split(",")))
        (tmp_path / "comb.csv").write_text(
            "number,side,tip_r_mm,tip_theta_deg,pitch,condition\n" + rows, encoding="utf-8"
        )
        comb = read_comb(tmp_path / "comb.csv")
        assert (
            [tooth.condition for tooth in comb.teeth]
            == list(ToothCondition)[:7]
            == [ToothCondition(w) for w in ("sound", "dead", "broken", "missing", "replaced", "buzzing", "doubled")]
        )
        assert [tooth.number for tooth in comb.teeth if tooth.is_silent] == [1, 2, 3]
    assert read_comb(tmp_path / "comb.csv") == comb
    (tmp_path / "again.csv").write_text(format_comb(comb))
    assert read_comb(tmp_path / "again.csv") == comb


HEAD = "number,side,tip_r_mm,tip_theta_deg,pitch,condition\n"
WRONG = {
    "1,upper,9.5,12.5,C#,\n": r"line 2: pitch: 'C#' lacks its octave",
    "1,upper,9.5,12.5,554.4,\n": r"line 2: pitch: '554.4' is no MIDI number",
    "1,middle,9.5,12.5,73,\n": r"line 2: side is 'middle'; it must be one of upper, lower",
    "1,upper,26 gauge,12.5,73,\n": r"line 2: tip_r_mm: '26 gauge' may be American or British",
    "1,upper,9.5 in,12.5,73,\n": r"line 2: tip_r_mm is 241.3; it must lie from 0 to 100",
    "1,upper,9.5,400,73,\n": r"line 2: tip_theta_deg is 400; it must lie from 0 below 360",
    "1,upper,9.5,12°75',73,\n": r"line 2: tip_theta_deg: .* run from 0 to below 60",
    "1,upper,9.5,12.5,73,rusty\n": r"line 2: condition is 'rusty'; it must be one of sound, dead, broken",
    "1,upper,,12.5,73,\n": r"line 2: tip_r_mm is empty",
    "one,upper,9.5,12.5,73,\n": r"line 2: number is 'one', not a whole number",
    "1,upper,9,5,12,5,73\n": r"line 2: 7 cells, but the first line names 6 columns",
}


@pytest.mark.parametrize("row, words", WRONG.items())
def test_a_wrong_cell_is_named_in_one_line(row, words, tmp_path):
    (tmp_path / "comb.csv").write_text(HEAD + row, encoding="utf-8")
    with pytest.raises(BadInput, match=words) as caught:
        read_comb(tmp_path / "comb.csv")
    assert "\n" not in str(caught.value)


def test_a_table_of_two_hundred_thousand_rows_is_refused_before_it_is_parted(tmp_path):
    (tmp_path / "comb.csv").write_text(HEAD + "1,upper,9.5,12.5,73,\n" * 200_000)
    with pytest.raises(BadInput, match="200001 lines are too many for a comb table"):
        read_comb(tmp_path / "comb.csv")
