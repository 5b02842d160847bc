"""Drill and wire sizes against an independent table, and the choice of stock and fit."""

from __future__ import annotations

import numpy as np
import pytest

from disc.errors import BadInput
from disc.repin.work.drills import (
    ISO_235_MM,
    LEAST_INTERFERENCE_MM,
    MICRO_MM,
    WIRE_MM,
    choose_stock,
    drill_series,
    number_drills,
    parse_sizes,
)

# Corner points of GNU units 2.22, definitions.units, table drillgauge[in]; between them that table is linear.
# fmt: off
GNU_UNITS_DRILLGAUGE = {
    1: .2280, 2: .2210, 3: .2130, 4: .2090, 5: .2055, 6: .2040, 7: .2010, 8: .1990, 9: .1960, 10: .1935, 11: .1910,
    12: .1890, 13: .1850, 14: .1820, 15: .1800, 16: .1770, 17: .1730, 18: .1695, 19: .1660, 20: .1610, 22: .1570,
    23: .1540, 24: .1520, 25: .1495, 26: .1470, 27: .1440, 28: .1405, 29: .1360, 30: .1285, 31: .1200, 32: .1160,
    33: .1130, 34: .1110, 35: .1100, 36: .1065, 38: .1015, 39: .0995, 40: .0980, 41: .0960, 42: .0935, 43: .0890,
    44: .0860, 45: .0820, 46: .0810, 48: .0760, 51: .0670, 52: .0635, 53: .0595, 54: .0550, 55: .0520, 56: .0465,
    57: .0430, 65: .0350, 66: .0330, 68: .0310, 69: .0292, 70: .0280, 71: .0260, 73: .0240, 74: .0225, 75: .0210,
    76: .0200, 78: .0160, 79: .0145, 80: .0135, 88: .0095, 104: .0031,
}
# Metric equivalents printed on drill charts, mm; from memory: no. 80, 79, 78, 76, 60, 50, 40, 30, 1.
PRINTED_MM = {80: 0.343, 79: 0.368, 78: 0.406, 76: 0.508, 60: 1.016, 50: 1.778, 40: 2.489, 30: 3.264, 1: 5.791}
# fmt: on


def test_number_drills_are_the_standard_series():
    numbers = np.arange(1, 98)
    table = np.interp(numbers, list(GNU_UNITS_DRILLGAUGE), list(GNU_UNITS_DRILLGAUGE.values()))
    ours = [drill.diameter_mm / 25.4 for drill in number_drills()]
    assert len(ours) == 97
    np.testing.assert_allclose(ours, table, atol=0.00005 + 1e-9)  # half the last printed digit


@pytest.mark.parametrize("number, printed", PRINTED_MM.items())
def test_number_drills_in_millimetres(number, printed):
    assert number_drills()[number - 1].diameter_mm == pytest.approx(printed, abs=0.0005)
    assert number_drills()[number - 1].name == f"no. {number}"


def test_metric_series_rise_and_hold_the_usual_sizes():
    for series in (WIRE_MM, ISO_235_MM, MICRO_MM):
        assert list(series) == sorted(set(series))
    assert MICRO_MM[0] == 0.10 and 0.24 in MICRO_MM
    # Common set of small jobber drills, 0.20 to 0.60; common practice, no source.
    assert {0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50} <= set(ISO_235_MM)


@pytest.mark.parametrize(
    "wanted, drills, wire, drill",
    [
        (0.253, "micro", 0.25, "0.24 mm"),
        (0.262, "micro", 0.25, "0.24 mm"),
        (0.265, "micro", 0.28, "0.27 mm"),  # half way: the thicker wire, since a worn hole never got smaller
        (0.253, "iso235", 0.25, "0.22 mm"),
        (0.35, "number", 0.36, "no. 80"),
        (0.25, "0.20,0.245", 0.25, "0.24 mm"),
    ],
)
def test_wire_and_drill(wanted, drills, wire, drill):
    stock = choose_stock(wanted, drills=drill_series(drills))
    assert stock.wire_mm == wire
    assert stock.drill.name == drill
    assert stock.interference_mm >= LEAST_INTERFERENCE_MM - 1e-9
    larger = [d for d in drill_series(drills) if d.diameter_mm > stock.drill.diameter_mm]
    assert all(wire - d.diameter_mm < LEAST_INTERFERENCE_MM for d in larger)


def test_a_fit_too_tight_says_to_broach():
    assert "broach" in choose_stock(0.25, drills=drill_series("0.20")).words
    assert "drive fit" in choose_stock(0.25, drills=drill_series("0.23")).words


@pytest.mark.parametrize(
    "text, words",
    [("0,25x", "Write millimetres"), ("", "write millimetres"), ("25", "0.05 to 3"), ("nan", "not a length")],
)
def test_bad_sizes_are_told(text, words):
    with pytest.raises(BadInput, match=words):
        parse_sizes(text, "wire")


def test_no_drill_fine_enough():
    with pytest.raises(BadInput, match=r"no drill fits wire of 0\.25 mm: the smallest given is 0\.300 mm"):
        choose_stock(0.25, drills=drill_series("0.30"))
