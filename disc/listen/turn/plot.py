"""A picture of a judged turn: the speed over time, and every strike heard, silent or extra, by pitch (SVG)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc import svg
from disc.listen.sound.audio import FloatArray
from disc.listen.turn.pace import Pace
from disc.listen.turn.turn_record import Turn
from disc.pitch_names import note_name

# px: page, speed curve, edges and gap; laid out by eye
WIDTH, SPEED_H, LEFT, RIGHT, TOP, GAP = 1100, 150, 60, 20, 62, 46
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
ROW_H, LEAST_ROLL_H, MOST_ROLL_H = 9.0, 180.0, 420.0  # px for a semitone, as far as the picture stays on one screen
HEARD, UNEVEN, EXTRA = "#1f5f8b", "#d9822b", "#c0392b"
SILENT_PEN: dict[str, svg.Value] = {"stroke": "#444444", "stroke_width": 1.4}
UNTOLD_PEN: dict[str, svg.Value] = {"stroke": "#888888", "stroke_dasharray": "2 2"}
FRAME: dict[str, svg.Value] = {"fill": "#fbfbfa", "stroke": "#ddd"}
LEAST_TINT = 12.0  # px; narrower ones are ends of a lap, of which little was heard
RUSHES, DRAGS = "#f6e3c8", "#dde6ee"


def plot_turn(turn: Turn, paces: Sequence[Pace] = ()) -> str:
    """The SVG's text: above the speed in % of the mean, below the strikes by pitch. Bars (or tenths of the turn) that
    rush or drag are tinted."""
    end = max([float(turn.speed[-1, 0]) if len(turn.speed) else 1.0, *(s.time_s for s in turn.sounds)]) + 0.5
    scale = (WIDTH - LEFT - RIGHT) / end
    rows = _rows(turn)
    roll_h = float(np.clip(ROW_H * (rows[1] - rows[0]), LEAST_ROLL_H, MOST_ROLL_H))
    roll_top, height = TOP + SPEED_H + GAP, TOP + SPEED_H + GAP + roll_h + 40
    wide = WIDTH - LEFT - RIGHT
    parts = [
        svg.text(LEFT, 20, f"One turn takes {turn.revolution_s:.2f} s", font_size=14),
        _legend(),
        svg.rect(LEFT, TOP, wide, SPEED_H, **FRAME),
        svg.rect(LEFT, roll_top, wide, roll_h, **FRAME),
        _tints(turn, paces, scale, end, roll_top + roll_h),
        _seconds(end, scale, height),
        svg.text(LEFT, TOP - 6, "speed against the mean of the turn, %", fill="#666"),
        _speed(turn.speed, scale),
        _roll(turn, scale, roll_top, roll_h, rows),
    ]
    return svg.document(WIDTH, round(height), parts, font_family="sans-serif", font_size=11)


def _rows(turn: Turn) -> tuple[float, float]:
    pitches = [s.pitch for s in turn.sounds] + [m.pitch for m in (*turn.missed, *turn.untold)]
    return (min(pitches) - 1.0, max(pitches) + 1.0) if pitches else (60.0, 72.0)


def _legend() -> str:
    marks = [
        (svg.rect(0, -7, 9, 5, fill=HEARD), "heard"),
        (svg.rect(0, -7, 9, 5, fill=UNEVEN), "early or late"),
        (svg.rect(0, -7, 9, 5, fill=EXTRA), "extra, no pin explains it"),
        (svg.circle(4, -4.5, 4, fill="none", **SILENT_PEN), "silent, a pin passes"),
        (svg.circle(4, -4.5, 4, fill="none", **UNTOLD_PEN), "cannot be told"),
        (svg.rect(0, -9, 12, 9, fill=RUSHES), "bar rushes"),
        (svg.rect(0, -9, 12, 9, fill=DRAGS), "bar drags"),
    ]
    places = (-90, -28, 65, 220, 353, 455, 540)
    return "".join(
        svg.element("g", mark, svg.text(16, 0, words, fill="#333"), transform=f"translate({LEFT + 250 + x},20)")
        for x, (mark, words) in zip(places, marks, strict=True)
    )


def _tints(turn: Turn, paces: Sequence[Pace], scale: float, end_s: float, bottom: float) -> str:
    """Stretches that rush or drag, with their names, in every lap that was recorded."""
    heard = [s.time_s for s in turn.sounds if s.strike is not None] or [0.0, end_s]
    ends_s = min(heard), max(heard)
    first, last = (int(np.floor(v)) for v in turn.motion.position(np.array(ends_s)))
    parts = []
    for pace in paces:
        if not (pace.rushes or pace.drags):
            continue
        for lap in range(first, last + 1):
            ends = turn.motion.time(np.array([pace.stretch.from_turn + lap, pace.stretch.to_turn + lap]))
            x0, x1 = (LEFT + float(np.clip(t, *ends_s)) * scale for t in ends)
            if x1 - x0 > LEAST_TINT:
                colour = RUSHES if pace.rushes else DRAGS
                parts.append(svg.rect(x0, TOP, x1 - x0, bottom - TOP, fill=colour, fill_opacity=0.6))
                middle, name = 0.5 * (x0 + x1), pace.stretch.name
                parts.append(svg.text(middle, TOP + SPEED_H + 14, name, text_anchor="middle", fill="#777", font_size=9))
    return "".join(parts)


def _seconds(end_s: float, scale: float, height: float) -> str:
    step = 5 if end_s <= 80 else 10
    return "".join(
        svg.line(LEFT + s * scale, TOP, LEFT + s * scale, round(height - 34), stroke="#eee")
        + svg.text(LEFT + s * scale, round(height - 20), f"{s} s", text_anchor="middle", fill="#666")
        for s in range(0, int(end_s) + 1, step)
    )


def _speed(speed: FloatArray, scale: float) -> str:
    if not len(speed):
        return ""
    percent = 100.0 * (speed[:, 1] - 1.0)
    reach = max(2.0, float(np.ceil(np.percentile(np.abs(percent), 99))))
    middle = TOP + SPEED_H / 2
    down = middle - np.clip(percent / reach, -1, 1) * SPEED_H / 2
    course = svg.points((round(LEFT + t * scale, 1), round(y, 1)) for t, y in zip(speed[:, 0], down, strict=True))
    half = SPEED_H / 2 / reach
    labels = "".join(
        svg.line(LEFT, middle - v * half, WIDTH - RIGHT, middle - v * half, stroke="#ddd")
        + svg.text(LEFT - 8, middle - v * half + 4, f"{v:+g}", text_anchor="end", fill="#666")
        for v in (-reach, 0.0, reach)
    )
    return labels + svg.element("polyline", points=course, fill="none", stroke=HEARD, stroke_width=1.2)


def _roll(turn: Turn, scale: float, top: float, roll_h: float, rows: tuple[float, float]) -> str:
    low, high = rows
    each = roll_h / (high - low)
    uneven = {(s.time_s, s.pitch) for s in turn.early_late}
    parts = []
    for p in range(int(np.ceil(low)), int(high) + 1):
        y = top + (high - p) * each
        if p % 12 in (0, 4, 7):  # C, E and G are enough to find one's way
            parts.append(svg.line(LEFT, y, WIDTH - RIGHT, y, stroke="#ececec"))
            parts.append(svg.text(LEFT - 8, y + 4, note_name(p), text_anchor="end", fill="#666"))
    for s in turn.sounds:
        colour = EXTRA if s.strike is None else UNEVEN if (s.time_s, s.pitch) in uneven else HEARD
        y = top + (high - s.pitch) * each
        parts.append(svg.rect(LEFT + s.time_s * scale, y - 2.5, 8, 5, fill=colour))
    for missed, pen in ((turn.missed, SILENT_PEN), (turn.untold, UNTOLD_PEN)):
        for m in missed:
            if m.time_s < 0.0:  # before the recording began
                continue
            x, y = LEFT + m.time_s * scale, top + (high - m.pitch) * each
            parts.append(svg.circle(x, y, 4.5, fill="none", **pen))
    return "".join(parts)
