"""Listening to the shipped sample: as it plays, as it should, recorded; slower, one bar, one tooth; turning."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from disc.job import open_for_writing, open_job
from disc.records import Condition, ToothCondition
from disc.tables import read_pins

from .sample import GIVEN, TRUTH, gap_mm, true_onset_s, true_plays
from .sounds import write_recording

ONE_DESK = True
LONG_MS = 60_000  # listening takes seconds, and the machine may be busy
REVOLUTION_S = GIVEN["revolution_s"]
ONSETS = sorted((true_onset_s(pin), pin["tooth"]) for pin in TRUTH["pins"] if true_plays(pin))
DEAD_TOOTH = 16
PLAYER = """async () => {
  const {player} = await import('/static/js/player.js');
  return {at: player.at, playing: player.playing, loop: player.loop};
}"""
# Seconds that passed by the page's clock and in the turn, from one frame to a later one.
TICKS = """async (ms) => {
  const {player} = await import('/static/js/player.js');
  const {on} = await import('/static/js/store.js');
  let first = null;
  return new Promise((done) => on('time', () => {
    first ??= [performance.now(), player.at];
    const passed = performance.now() - first[0];
    if (passed > ms) done([passed / 1000, player.at - first[1]]);
  }));
}"""
SEEK = "async (at) => (await import('/static/js/player.js')).seek(at)"
COUNTS = """async () => {
  const {desk} = await import('/static/js/store.js');
  return [desk.music.now.length, desk.music.should.length];
}"""
STRUCK = "() => window.struck ?? 0"
# From here on what is played is kept, and the second at which the first began.
PLAYED = """() => {
  window.heard = [];
  const play = HTMLMediaElement.prototype.play;
  HTMLMediaElement.prototype.play = function () {
    window.began ??= this.currentTime;
    window.heard.push(this);
    return play.call(this);
  };
}"""


def test_what_a_tooth_without_a_tone_was_to_play_is_shown_as_silent_and_not_sounded(open_desk, job):
    with open_for_writing(job) as opened:
        comb = opened.comb()
        struck = [pin.id for pin in opened.pins() if pin.tooth == DEAD_TOOTH and pin.plays]
        dead = [replace(t, condition=ToothCondition.DEAD) if t.number == DEAD_TOOTH else t for t in comb.teeth]
        with opened.step("comb") as stage:
            opened.stage_comb(stage, replace(comb, teeth=tuple(dead)))
    desk = open_desk(job)
    rows, played, shown = desk.page.evaluate(
        """async () => {
          const {desk} = await import('/static/js/store.js');
          const {strikesPlayed} = await import('/static/js/player.js');
          const {placeOfStrike} = await import('/static/js/roll.js');
          const choice = document.getElementById('play-what');
          const played = ['now', 'should'].map((what) => {
            choice.value = what;
            return [what, strikesPlayed().map((one) => one[2])];
          });
          const ids = desk.music.now.map((one) => one[3]);
          return [desk.music.now.map((one) => one[2]), played, ids.map((id) => [id, placeOfStrike(id)[2]])];
        }"""
    )
    assert struck and rows.count(DEAD_TOOTH) == len(struck)  # the pins stay in the turn
    for _, teeth in played:
        assert len(set(teeth)) > 10 and DEAD_TOOTH not in teeth
    assert {pin for pin, plays in shown if not plays} == set(struck)


def test_play_slower_as_it_should_and_pause(open_desk, job):
    desk = open_desk(job)
    read = read_pins(job / "pins.csv")
    broken = sum(pin.condition in (Condition.MISSING, Condition.STUB) for pin in read)
    sounding = sum(pin.tooth is not None for pin in read)
    assert desk.page.evaluate(COUNTS) == [sounding - broken, sounding]
    desk.page.click("#play")
    desk.page.wait_for_function("() => (window.struck ?? 0) >= 3")
    first = desk.page.evaluate(PLAYER)
    assert first["playing"] and first["at"] > ONSETS[0][0] - 0.5
    desk.page.click("#loud-open")
    desk.page.select_option("#play-speed", "0.25")
    passed_s, moved_s = desk.page.evaluate(TICKS, 400)
    # A quarter of the speed: a quarter of the time that passed, which is told and taken in one frame.
    assert passed_s > 0.4 and moved_s == pytest.approx(passed_s / 4, abs=0.05)
    desk.page.click("#play")
    assert not desk.page.evaluate(PLAYER)["playing"]
    desk.page.select_option("#play-what", "should")
    before = desk.page.evaluate(STRUCK)
    desk.page.click("#loud-open")
    desk.page.select_option("#play-speed", "1")
    desk.page.focus("#roll")
    desk.page.keyboard.press(" ")
    desk.page.wait_for_function("(was) => window.struck > was", arg=before)
    desk.page.keyboard.press(" ")
    assert not desk.page.evaluate(PLAYER)["playing"]


def test_one_bar_over_and_over_one_tooth_alone_and_a_tooth_by_click(open_desk, job):
    desk = open_desk(job, has_touch=True)
    box = desk.page.locator("#roll").bounding_box()
    desk.page.touchscreen.tap(box["x"] + 20, box["y"] + 0.5 * box["height"])
    desk.page.wait_for_function("() => window.struck === 1")
    desk.page.mouse.click(box["x"] + 20, box["y"] + 0.8 * box["height"])
    desk.page.wait_for_function("() => window.struck === 2")
    desk.page.focus("#roll")
    desk.page.keyboard.press("ArrowRight")
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_function("() => window.struck === 3")
    desk.page.check("#play-loop")
    loop = desk.page.evaluate(PLAYER)["loop"]
    assert loop is not None and 0.5 < loop[1] - loop[0] < REVOLUTION_S / 4
    elsewhere = {tooth for at, tooth in ONSETS} - {tooth for at, tooth in ONSETS if loop[0] - 0.3 < at < loop[1] + 0.3}
    desk.page.click("#loud-open")
    desk.page.select_option("#play-tooth", str(min(elsewhere)))
    desk.page.evaluate(SEEK, loop[1] - 0.4)
    desk.page.locator("#play").tap()
    desk.until("async (end) => (await import('/static/js/player.js')).player.at < end", loop[1] - 0.5)  # it went back
    assert desk.page.evaluate(STRUCK) == 3  # that tooth is not in this bar, and no other may sound
    desk.page.click("#loud-open")
    desk.page.select_option("#play-tooth", "")
    desk.page.wait_for_function("() => window.struck > 3")
    at = desk.page.evaluate(PLAYER)["at"]
    assert loop[0] <= at < loop[1]
    desk.page.click("#play")


def test_the_turning_disc_carries_each_pin_to_its_tip(open_desk, job):
    """At the moment of a strike the pin stands at its tooth's tip: the strike equation, seen on the screen."""
    desk = open_desk(job)
    desk.sheet("turning")
    desk.page.wait_for_selector("#stage[data-ready=turning]")
    gaps = desk.page.evaluate(
        """async () => {
          const {desk} = await import('/static/js/store.js');
          const {seek, player} = await import('/static/js/player.js');
          const {pinOnScreen, baseSheet, view, pixelsPerMm} = await import('/static/js/stage.js');
          const tips = new Map(baseSheet().lines.tracks.map((t) => [t.tooth, t.tip]));
          return desk.music.should.map(([, onset, tooth, id]) => {
            seek(onset);
            const [x, y] = pinOnScreen(desk.pins.get(id)).at;
            const [tx, ty] = view().toScreen(tips.get(tooth));
            return [id, Math.hypot(x - tx, y - ty) / pixelsPerMm()];
          });
        }"""
    )
    # Roots stand off their tracks by the maker's scatter and the reading's error; along the track they must fit.
    pins, comb = desk.pins(), open_job(job).comb()
    off = {number: abs(pin.r_mm - comb.tooth(pin.tooth).tip_r_mm) for number, pin in pins.items() if pin.tooth}
    # Onsets travel rounded to 0.0001 s: 0.0009 degrees, 0.0002 mm; the picture's places to 0.01 px.
    assert len(gaps) > 50 and all(abs(gap - off[number]) < 0.01 for number, gap in gaps)


def test_a_recorded_turn_is_laid_over_the_pins_and_followed(open_desk, job, tmp_path):
    """A recording made from the truth: slower than the plate says, begun within the turn, one strike left out, one
    put in. What the page shows of it is held against how it was made."""
    read = read_pins(job / "pins.csv")
    length_s, begun = REVOLUTION_S * 1.04, 0.3  # seconds of the recorded turn, and which part of it had passed
    onsets = [(((at / REVOLUTION_S - begun) % 1.0) * length_s, tooth) for at, tooth in ONSETS]
    silent = _alone(onsets)
    pin = _pin_of(read, ONSETS[onsets.index(silent)])
    extra = (
        silent[0] + 0.5,
        next(t for t in PITCHES_APART if all(abs(a - silent[0] - 0.5) > 1.2 for a, n in onsets if n == t)),
    )
    played = [one for one in onsets if one != silent] + [extra]
    sound = write_recording(tmp_path / "the movement.wav", played, length_s + 1.5)
    desk = open_desk(job)
    page = desk.page
    page.set_input_files("#recording-add", str(sound))
    desk.told("belongs to the job")
    assert (job / "recordings" / "the-movement.wav").read_bytes() == sound.read_bytes()
    page.click("#play")
    desk.until("async () => (await import('/static/js/player.js')).player.at > 0.2")  # a plain recording plays too
    page.click("#play")
    page.click("#listen")
    desk.told("One turn takes", LONG_MS)
    assert (job / "out" / "listen.json").is_file()
    assert page.input_value("#play-what") == "heard"
    heard = page.evaluate("async () => (await import('/static/js/store.js')).desk.state.heard")
    assert heard["why"] == "" and heard["revolution_s"] == pytest.approx(length_s, rel=0.01)
    # Bent pins strike where their tips are, which this recording does not mind: they may be missed too.
    bent = {one.id for one in read if one.condition is Condition.BENT}
    assert set(heard["silent"]) - bent == {pin.id}
    assert any(tooth == extra[1] and abs(at - extra[0]) < 0.1 for at, _, tooth in heard["extra"])
    # Each finding of the recording can be heard where it is: the silent strike where its sound should have been.
    desk.tab("findings")
    page.click("#check")
    hear = page.locator(f'article[data-kind="silent-strike"][data-pin="{pin.id}"] [data-hear]')
    hear.wait_for(timeout=LONG_MS)
    page.evaluate(PLAYED)
    hear.click()
    page.wait_for_function("() => window.heard?.length && window.heard[0].currentTime > 0")
    begins, plays = page.evaluate("() => [window.began, !window.heard[0].paused]")
    assert plays and silent[0] - 1.5 < begins < silent[0]
    page.wait_for_function("() => window.heard[0].paused")
    found = [row for row in heard["sounds"] if row[3] is not None]
    assert len(found) > 0.9 * len(ONSETS)
    for recorded, turn, _, number in found:
        place = (recorded / length_s + begun) % 1.0 * REVOLUTION_S
        # The disc is where it was when that was recorded, and the pin whose sound it is stands at its tip, but for a
        # lean: 0.2 mm at 6 mm are 0.3 s.
        assert abs(math.remainder(turn - place, REVOLUTION_S)) < 0.1
        true = next(p for p in read if p.id == number)
        assert abs(math.remainder(_onset(true) - place, REVOLUTION_S)) < 0.45
    # Played, the head goes with the recording: begun in the middle of the turn.
    page.evaluate(SEEK, begun * REVOLUTION_S + 0.05)
    page.click("#play")
    desk.until(f"async () => (await import('/static/js/player.js')).player.at > {begun * REVOLUTION_S + 0.6}")
    at = page.evaluate(PLAYER)["at"]
    assert begun * REVOLUTION_S + 0.6 < at < begun * REVOLUTION_S + 8
    page.click("#play")
    assert "not heard" in page.locator("#roll-words").inner_text()
    bad = tmp_path / "movement.exe"
    bad.write_bytes(b"MZ")
    page.set_input_files("#recording-add", str(bad))
    desk.told("must end in one of")


# Teeth whose pitch no other tooth comes near: a sound of theirs can be no other's.
PITCHES_APART = [
    tooth["number"]
    for tooth in TRUTH["comb"]
    if all(abs(tooth["pitch"] - other["pitch"]) > 0.6 for other in TRUTH["comb"] if other is not tooth)
]


def _alone(onsets):
    """A strike of a tooth with a pitch of its own, well within the recording, whose tooth rests long around it."""

    def rest(one):
        return min((abs(one[0] - at) for at, tooth in onsets if tooth == one[1] and at != one[0]), default=math.inf)

    inside = [one for one in onsets if one[1] in PITCHES_APART and 5 < one[0] < REVOLUTION_S - 5]
    return max(inside, key=rest)


def _pin_of(read, onset):
    true = next(pin for pin in TRUTH["pins"] if (true_onset_s(pin), pin["tooth"]) == onset)
    return min(read, key=lambda pin: gap_mm(pin, true))


def _onset(pin):
    true = min(TRUTH["pins"], key=lambda one: gap_mm(pin, one))
    return true_onset_s(true)


def test_now_and_repaired_change_places_under_way_and_a_tooth_is_as_loud_as_it_is_set(open_desk, job):
    desk = open_desk(job)
    desk.page.evaluate(SEEK, ONSETS[0][0] - 0.2)
    desk.page.click("#play")
    desk.page.wait_for_function("() => (window.struck ?? 0) >= 1")
    at = desk.page.evaluate(PLAYER)["at"]
    desk.page.focus("#stage")
    desk.page.keyboard.press("s")
    desk.told("As it should play")
    later = desk.page.evaluate(PLAYER)
    assert later["playing"] and at <= later["at"] < at + 5 and desk.page.input_value("#play-what") == "should"
    desk.page.click("#loud-open")
    desk.page.click("#play-other")
    desk.told("As it plays now")
    assert desk.page.evaluate(PLAYER)["playing"] and desk.page.input_value("#play-what") == "now"
    tooth = str(ONSETS[0][1])
    desk.page.select_option("#loud-tooth", tooth)
    desk.page.fill("#loud", "150")
    assert desk.page.locator("#loud-words").inner_text() == "150 %"
    desk.page.select_option("#play-tooth", tooth)  # it alone
    desk.page.keyboard.press("Escape")
    before = desk.page.evaluate(STRUCK)
    desk.page.evaluate(SEEK, ONSETS[0][0] - 0.2)
    desk.page.wait_for_function(f"() => window.struck > {before}")
    assert desk.page.evaluate("() => window.struckAt") == 1.5
