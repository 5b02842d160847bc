"""What is too sure beside a doubt is said so: percentages of half a disc, work from a blurred face."""

from dataclasses import replace

from disc.desk.page.pins import page_pins
from disc.doubts import NOT_TRIED, blurred_faces, untried_lines
from disc.records import About, Condition, Doubt, Pin, Side
from disc.repin.records import IRREVERSIBLE, Operation, StationTask
from disc.repin.work.hold_back import disc_doubt, look_first
from disc.repin.work.nominal_places import wire_doubts
from disc.repin.work.what_to_do import PlaceWork, Verdicts


def test_percentages_are_not_relied_on_for_half_a_disc_or_one_given_wrongly() -> None:
    assert untried_lines([Doubt(About.FACE, "not photographed", side=Side.LOWER)]) == [NOT_TRIED]
    assert untried_lines([Doubt(About.FACES, "swapped", probability=0.97)]) == [NOT_TRIED]
    assert untried_lines([Doubt(About.DIRECTION, "the other way", probability=0.9)]) == [NOT_TRIED]


def test_an_assumed_value_does_not_touch_them() -> None:
    assert not untried_lines([Doubt(About.DIRECTION, "clockwise is assumed"), Doubt(About.ASSUMED, "45 s")])


def test_nothing_is_pulled_on_the_word_of_a_blurred_photograph() -> None:
    doubts = [
        Doubt(About.SHARP, "blurred", side=Side.UPPER, probability=0.997),
        Doubt(About.SHARP, "one of two was set aside", side=Side.LOWER),
    ]
    assert blurred_faces(doubts) == {Side.UPPER}
    work = PlaceWork((StationTask(Operation.PULL, "broken off"), StationTask(Operation.SET, "anew")), 0.99)
    nothing_said = Verdicts({})
    assert look_first(work, nothing_said, (Side.UPPER, 5.0, 10.0))[0] is work
    for side in Side:  # on the blurred face; and on the sharp one, whose stub may be a pin of the blurred one
        looked, if_so = look_first(work, nothing_said, (side, 5.0, 10.0), disc_doubt(doubts, {}))
        assert not {task.operation for task in looked.tasks} & set(IRREVERSIBLE) and if_so == work.tasks


def test_how_sure_a_condition_is_is_told_in_a_word_where_no_bench_shows_a_percentage_to_be_true() -> None:
    stub = Pin(7, Side.UPPER, 5.0, 10.0, condition=Condition.STUB, confidence=0.99, condition_probability=0.68)
    sound = Pin(8, Side.UPPER, 6.0, 10.0, confidence=0.99, condition_probability=0.68)
    shown = page_pins([stub, sound, replace(stub, id=9, condition_probability=None)], {}, {})
    assert [shown[number]["condition_sure"] for number in (7, 8, 9)] == ["sooner so than not", None, None]


def test_wire_without_a_measured_pin_is_said_to_be_assumed() -> None:
    pin = Pin(1, Side.UPPER, 5.0, 10.0)
    (doubt,) = wire_doubts([pin])
    assert doubt.about is About.ASSUMED and "0.25 mm" in doubt.say
    assert not wire_doubts([Pin(1, Side.UPPER, 5.0, 10.0, diameter_mm=0.3)])
