"""Hours and cost against a bill worked by hand; the history; and bad rates files."""

from __future__ import annotations

import pytest

from disc.errors import BadInput
from disc.records import Side
from disc.repin.records import Operation, Station, StationTask, spot
from disc.repin.work.estimate import estimate, history_entry, parse_rates, sample_rates_text

RATES = """
currency = "CHF"
per_hour = 100.0
[minutes]
look = 3.0
straighten = 6.0
pull = 12.0
plug = 18.0
drill = 30.0
set = 15.0
shorten = 6.0
[hours]
record = 1.0
open = 2.0
set_up_drilling = 0.5
close = 3.0
[material]
wire_per_pin = 2.0
drill = 10.0
holes_per_drill = 5
"""


def station(number, *operations, probability=1.0, may_break=False, side=Side.UPPER):
    tasks = tuple(StationTask(Operation(op), "why") for op in operations)
    return Station(number, side, spot(8.0, 10.0 * (number or 0)), tasks, probability, may_break=may_break)


STATIONS = (
    station(None, "leave"),
    station(1, "set"),
    station(2, "set", probability=0.5),  # in doubt
    station(3, "leave"),  # an abandoned hole: looked at, never counted as a pin
    station(4, "straighten", may_break=True),
    station(5, "drill", "set", probability=0.6, side=Side.LOWER),
    station(6, "set", probability=0.95),
)


def test_a_bill_by_hand():
    made = estimate(STATIONS, parse_rates(RATES, "rates"))
    # least: 2 pins set (30 min), 1 straightened (6 min), 3 looks (9 min), 1 + 2 + 3 h: 6.75 h; wire 4.00
    assert made.hours[0] == pytest.approx(6.75) and made.cost[0] == pytest.approx(675 + 4.0)
    # expected adds 0.5 and 0.6 pins (16.5 min), 0.6 holes (18 min), 0.6 set-up (18 min): 7.625 h; wire 6.2, drills 1.2
    assert made.hours[1] == pytest.approx(7.625) and made.cost[1] == pytest.approx(762.5 + 6.2 + 1.2)
    # most: 4 pins and the one that may break (pull 12, set 75 min), a hole 30, set-up 30, 6, 9, and 6 h: 8.7 h
    assert made.hours[2] == pytest.approx(8.7) and made.cost[2] == pytest.approx(870 + 10.0 + 2.0)
    assert made.currency == "CHF" and made.in_doubt == 2 and not made.sample
    by_name = {line.what: line.count for line in made.lines}
    assert by_name["set"] == pytest.approx((2, 3.1, 5)) and by_name["pull"] == (0, 0, 1)
    assert "2 places are in doubt" in made.words and "1 pin may break" in made.words
    assert sum(line.cost[1] for line in made.lines) == pytest.approx(made.cost[1])


def test_no_range_where_nothing_is_in_doubt():
    made = estimate((station(1, "drill", "set"), station(2, "pull")), parse_rates(RATES, "rates"))
    assert made.hours[0] == made.hours[1] == made.hours[2] and made.words == "none of these places is in doubt"


def test_a_disc_that_needs_nothing_costs_nothing_and_one_in_doubt_perhaps_nothing():
    rates = parse_rates(RATES, "rates")
    assert estimate((station(None, "leave"),), rates).cost == (0.0, 0.0, 0.0)
    doubt = estimate((station(1, "set", probability=0.5),), rates)
    assert doubt.hours == pytest.approx((0.05, 0.05 + 0.5 * 6.25, 6.3))  # a look of 3 min; 6 h once and 15 min a pin


def test_the_sample_is_whole_and_says_that_it_is_one():
    assert parse_rates(sample_rates_text(), "sample").sample
    assert estimate(STATIONS, parse_rates(sample_rates_text(), "sample")).sample


def test_history_tells_what_changed():
    rates = parse_rates(RATES, "rates")
    first = history_entry(estimate(STATIONS, rates), "2030-01-01T00:00:00+00:00", None)
    assert first is not None and first["changed"] == "first estimate"
    assert history_entry(estimate(STATIONS, rates), "2030-01-02T00:00:00+00:00", first) is None
    decided = (*STATIONS[:2], station(2, "set"), *STATIONS[3:])
    second = history_entry(estimate(decided, rates), "2030-01-03T00:00:00+00:00", first)
    assert second is not None
    # 0.5 pin more (7.5 min) and one look less (3 min)
    words, hours = second["changed"].rsplit(" ", 1)
    assert words == "set 3.1 -> 3.6; look and decide 3 -> 2; in doubt 2 -> 1; expected hours"
    assert float(hours) == pytest.approx(0.075, abs=0.0051)  # two digits are kept
    dearer = history_entry(estimate(decided, rates.model_copy(update={"per_hour": 120.0})), "x", second)
    assert dearer is not None and dearer["changed"].startswith("the rates changed")


@pytest.mark.parametrize(
    "text, words",
    [
        ("currency = ", "rates.toml: not a rates file that can be read"),
        (RATES.replace('currency = "CHF"', ""), "rates.toml: currency: field required"),
        (RATES.replace("set = 15.0", "set = -1"), "rates.toml: minutes.set: input should be greater"),
        (RATES.replace("drill = 10.0", "dril = 10.0"), "rates.toml: material.dr"),
        (RATES.replace("holes_per_drill = 5", "holes_per_drill = 0"), "rates.toml: material.holes_per_drill"),
        (RATES.replace("per_hour = 100.0", "per_hour = nan"), "rates.toml: per_hour"),
    ],
)
def test_bad_rates_are_told(text, words):
    with pytest.raises(BadInput, match=words):
        parse_rates(text, "rates.toml")
