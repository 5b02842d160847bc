"""The two tables of a job: there and back, through a spreadsheet's habits, and what is said of a bad one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from disc.errors import BadInput
from disc.records import Comb, Condition, Pin, Side, Tooth, ToothCondition
from disc.tables import format_comb, format_pins, read_comb, read_pins

maybe = st.none()
pins = st.builds(
    Pin,
    id=st.integers(1, 9999),
    side=st.sampled_from(Side),
    r_mm=st.integers(0, 200_000).map(lambda n: n / 10_000),
    theta_deg=st.integers(0, 3_599_999).map(lambda n: n / 10_000),
    diameter_mm=maybe | st.just(0.25),
    height_mm=maybe | st.just(0.5),
    condition=st.sampled_from(Condition),
    lean_x_mm=maybe | st.just(-0.0312),
    lean_y_mm=maybe | st.just(0.0999),
    sigma_mm=maybe | st.just(0.0123),
    confidence=maybe | st.just(0.5),
    tooth=maybe | st.integers(1, 40),
    height_sigma_mm=maybe | st.just(0.041),
)

PINS = (
    Pin(1, Side.UPPER, 7.31, 121.4, 0.25, 0.5, Condition.SOUND, 0.01, -0.02, 0.011, 0.99, 5),
    Pin(2, Side.LOWER, 9.0625, 359.9, None, None, Condition.MISSING),
)
COMB = Comb((Tooth(1, Side.UPPER, 4.6, 12.0, 67.0), Tooth(2, Side.LOWER, 5.1, None, None, ToothCondition.DEAD)))


@given(st.lists(pins, max_size=5, unique_by=lambda pin: pin.id))
def test_pins_read_back_equal(tmp_path_factory, some):
    path = tmp_path_factory.mktemp("t") / "pins.csv"
    path.write_text(format_pins(some))
    assert read_pins(path) == tuple(some)


def test_an_angle_just_below_the_full_turn_stays_below_it(tmp_path):
    path = tmp_path / "pins.csv"
    path.write_text(format_pins([Pin(1, Side.UPPER, 5.0, 359.99999)]))
    assert read_pins(path)[0].theta_deg == 0.0


def as_a_spreadsheet_would(text: str, separator: str, decimal_comma: bool, bom: bool, line_end: str) -> bytes:
    if decimal_comma:
        text = text.replace(",", "\0").replace(".", ",").replace("\0", ",,").replace(",,", separator)
        # the line above turned points into commas and the old commas into the separator
    else:
        text = text.replace(",", separator)
    return ("\ufeff" if bom else "").encode() + text.replace("\n", line_end).encode()


@pytest.mark.parametrize("separator, decimal_comma", [(",", False), (";", False), (";", True), ("\t", True)])
@pytest.mark.parametrize("bom", [False, True])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_tables_survive_a_spreadsheet(tmp_path, separator, decimal_comma, bom, line_end):
    for name, text, read, value in (
        ("pins.csv", format_pins(PINS), read_pins, PINS),
        ("comb.csv", format_comb(COMB), read_comb, COMB),
    ):
        path = tmp_path / name
        path.write_bytes(as_a_spreadsheet_would(text, separator, decimal_comma, bom, line_end))
        assert read(path) == value


def test_columns_may_stand_in_any_order_and_others_are_left_alone(tmp_path):
    path = tmp_path / "comb.csv"
    path.write_text("Pitch,remark,side,tip_r_mm,Number\n67.5,loose,Upper,4.6,3.0\n\n")
    assert read_comb(path).teeth == (Tooth(3, Side.UPPER, 4.6, None, 67.5),)


@pytest.mark.parametrize(
    "text, words",
    [
        ("", "is empty"),
        (",,,\n", "has no column number, side, tip_r_mm"),
        ("number,side,pitch\n1,upper,60\n", "has no column tip_r_mm"),
        ("number,side,tip_r_mm\n1,upper,4.6\n1,upper,5\n", "line 3: number 1 stands already in line 2"),
        ("number,side,tip_r_mm,pitch\n1,upper,4.6,high\n", "line 2: pitch: 'high' is not a pitch"),
        ("number,side,tip_r_mm\n1,left,4.6\n", "line 2: side is 'left'; it must be one of upper, lower"),
        ("number,side,tip_r_mm\n1.5,upper,4.6\n", "line 2: number is '1.5', not a whole number"),
        ("number,side,tip_r_mm\n1,upper,-4\n", "tip_r_mm is -4; it must lie from 0"),
        ("number,side,tip_r_mm\n1,upper,nan\n", "tip_r_mm is nan"),
        ("number,side,tip_r_mm\n1,upper,4,6\n", "part the cells with semicolons"),
        ("number,side,tip_r_mm\n", "has no teeth"),
        ("number,side,tip_r_mm\n1,upper,\n", "line 2: tip_r_mm is empty"),
    ],
)
def test_a_bad_comb_table_is_told_by_line_and_cell(tmp_path, text, words):
    path = tmp_path / "comb.csv"
    path.write_text(text)
    with pytest.raises(BadInput, match=words.replace("(", r"\(")) as caught:
        read_comb(path)
    assert str(path) in str(caught.value)


def test_not_text_and_not_there(tmp_path):
    path = tmp_path / "comb.csv"
    with pytest.raises(BadInput, match="there is no such file"):
        read_comb(path)
    path.write_bytes(b"\x89PNG\0\0\0")
    with pytest.raises(BadInput, match="not a text file"):
        read_comb(path)
