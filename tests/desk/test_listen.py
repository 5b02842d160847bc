"""Listening: as it plays, as it should, a recording; slower, one bar, one tooth; the disc turning on the screen."""

from __future__ import annotations

import math
import struct
import wave

from .rig import FIRST_ONSET_S, PLATE, comb, pins

PLAYER = """async () => {
  const {player} = await import('/static/js/player.js');
  return {at: player.at, playing: player.playing, loop: player.loop};
}"""
COUNTS = """async () => {
  const {desk} = await import('/static/js/store.js');
  return [desk.music.now.length, desk.music.should.length];
}"""
STRUCK = "() => window.struck ?? 0"


def test_play_slower_and_pause(open_desk, job):
    desk = open_desk(job)
    desk.page.click("#play")
    desk.page.wait_for_function("() => (window.struck ?? 0) >= 3", timeout=15_000)
    first = desk.page.evaluate(PLAYER)
    assert first["playing"] and first["at"] > FIRST_ONSET_S - 0.5
    desk.page.select_option("#play-speed", "0.25")
    start = desk.page.evaluate(PLAYER)["at"]
    desk.page.wait_for_timeout(1000)
    # A quarter of the speed: a quarter of a second in a second; the wait itself may be late.
    assert 0.2 < desk.page.evaluate(PLAYER)["at"] - start < 0.6
    desk.page.click("#play")
    assert not desk.page.evaluate(PLAYER)["playing"]


def test_as_it_should_play_has_the_missing_pins(open_desk, job):
    desk = open_desk(job)
    counts = desk.page.evaluate(COUNTS)
    broken = sum(pin.condition.value in ("missing", "stub") for pin in pins())
    assert counts == [len(pins()) - broken, len(pins())]
    desk.page.select_option("#play-what", "should")
    desk.page.click("#play")
    desk.page.wait_for_function("() => (window.struck ?? 0) >= 2", timeout=15_000)
    desk.page.click("#play")


def test_one_bar_over_and_over_and_one_tooth_alone(open_desk, job):
    desk = open_desk(job)
    number = comb().teeth[-1].number
    desk.page.select_option("#play-tooth", str(number))
    desk.page.focus("#roll")
    desk.page.keyboard.press("ArrowRight")
    desk.page.check("#play-loop")
    loop = desk.page.evaluate(PLAYER)["loop"]
    assert loop is not None and loop[1] - loop[0] < PLATE.revolution_s / 4
    desk.page.evaluate("async (at) => (await import('/static/js/player.js')).seek(at)", loop[1] - 0.4)
    desk.page.click("#play")
    desk.page.wait_for_timeout(1200)
    assert loop[0] <= desk.page.evaluate(PLAYER)["at"] < loop[1]
    desk.page.click("#play")
    # The highest tooth is not in the first bar: nothing else may have sounded.
    assert desk.page.evaluate(STRUCK) == 0


def test_a_tooth_is_heard_by_click_and_by_key(open_desk, job):
    desk = open_desk(job)
    box = desk.page.locator("#roll").bounding_box()
    desk.page.mouse.click(box["x"] + 20, box["y"] + 60)
    desk.page.wait_for_function("() => window.struck === 1")
    desk.page.focus("#roll")
    desk.page.keyboard.press("ArrowRight")
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_function("() => window.struck === 2")


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
            return Math.hypot(x - tx, y - ty) / pixelsPerMm();
          });
        }"""
    )
    assert len(gaps) == len(pins())
    # Onsets travel rounded to 0.0001 s: 0.0009 degrees, 0.0002 mm; the picture's places to 0.01 px.
    assert max(gaps) < 0.01


def test_a_recording_belongs_to_the_job_and_plays(open_desk, job, tmp_path):
    sound = tmp_path / "the movement.wav"
    with wave.open(str(sound), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes(b"".join(struct.pack("<h", int(9000 * math.sin(i / 3))) for i in range(16000)))
    desk = open_desk(job)
    desk.page.set_input_files("#recording-add", str(sound))
    desk.told("belongs to the job")
    assert (job / "recordings" / "the-movement.wav").read_bytes() == sound.read_bytes()
    desk.page.click("#play")
    desk.until("async () => (await import('/static/js/player.js')).player.at > 0.3")
    desk.page.click("#play")
    bad = tmp_path / "movement.exe"
    bad.write_bytes(b"MZ")
    desk.page.set_input_files("#recording-add", str(bad))
    desk.told("must end in one of")
