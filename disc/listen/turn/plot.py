"""A picture of a judged turn: the speed over time, and every strike heard, silent or extra, by pitch (SVG)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from disc.listen.sound.audio import FloatArray
from disc.listen.turn.pace import Pace
from disc.listen.turn.turn_record import Turn
from disc.pitch_names import note_name

WIDTH, SPEED_H, LEFT, RIGHT, TOP, GAP = 1100, 150, 60, 20, 62, 46
ROW_H, LEAST_ROLL_H, MOST_ROLL_H = 9.0, 180.0, 420.0  # px for a semitone, as far as the picture stays on one screen
HEARD, UNEVEN, EXTRA, SILENT, UNTOLD = "#1f5f8b", "#d9822b", "#c0392b", "#444444", "#888888"
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
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:.0f}" font-family="sans-serif" '
        f'font-size="11" width="{WIDTH}" height="{height:.0f}"><rect width="100%" height="100%" fill="white"/>',
        f'<text x="{LEFT}" y="20" font-size="14">One turn takes {turn.revolution_s:.2f} s</text>',
        _legend(),
        f'<rect x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}" height="{SPEED_H}" fill="#fbfbfa" stroke="#ddd"/>',
        f'<rect x="{LEFT}" y="{roll_top}" width="{WIDTH - LEFT - RIGHT}" height="{roll_h}" fill="#fbfbfa" '
        'stroke="#ddd"/>',
        _tints(turn, paces, scale, end, roll_top + roll_h),
        _seconds(end, scale, height),
        f'<text x="{LEFT}" y="{TOP - 6}" fill="#666">speed against the mean of the turn, %</text>',
        _speed(turn.speed, scale),
        _roll(turn, scale, roll_top, roll_h, rows),
    ]
    return "\n".join([*parts, "</svg>\n"])


def _rows(turn: Turn) -> tuple[float, float]:
    pitches = [s.pitch for s in turn.sounds] + [m.pitch for m in (*turn.missed, *turn.untold)]
    return (min(pitches) - 1.0, max(pitches) + 1.0) if pitches else (60.0, 72.0)


def _legend() -> str:
    marks = [
        (f'<rect x="0" y="-7" width="9" height="5" fill="{HEARD}"/>', "heard"),
        (f'<rect x="0" y="-7" width="9" height="5" fill="{UNEVEN}"/>', "early or late"),
        (f'<rect x="0" y="-7" width="9" height="5" fill="{EXTRA}"/>', "extra, no pin explains it"),
        (f'<circle cx="4" cy="-4.5" r="4" fill="none" stroke="{SILENT}" stroke-width="1.4"/>', "silent, a pin passes"),
        (f'<circle cx="4" cy="-4.5" r="4" fill="none" stroke="{UNTOLD}" stroke-dasharray="2 2"/>', "cannot be told"),
        (f'<rect x="0" y="-9" width="12" height="9" fill="{RUSHES}"/>', "bar rushes"),
        (f'<rect x="0" y="-9" width="12" height="9" fill="{DRAGS}"/>', "bar drags"),
    ]
    places = (-90, -28, 65, 220, 353, 455, 540)
    return "".join(
        f'<g transform="translate({LEFT + 250 + x},20)">{mark}<text x="16" fill="#333">{words}</text></g>'
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
                parts.append(
                    f'<rect x="{x0:.1f}" y="{TOP}" width="{x1 - x0:.1f}" height="{bottom - TOP:.1f}" fill="{colour}" '
                    f'fill-opacity="0.6"/><text x="{0.5 * (x0 + x1):.1f}" y="{TOP + SPEED_H + 14}" '
                    f'text-anchor="middle" fill="#777" font-size="9">{pace.stretch.name}</text>'
                )
    return "".join(parts)


def _seconds(end_s: float, scale: float, height: float) -> str:
    step = 5 if end_s <= 80 else 10
    return "".join(
        f'<path d="M{LEFT + s * scale:.1f} {TOP}V{height - 34:.0f}" stroke="#eee"/>'
        f'<text x="{LEFT + s * scale:.1f}" y="{height - 20:.0f}" text-anchor="middle" fill="#666">{s} s</text>'
        for s in range(0, int(end_s) + 1, step)
    )


def _speed(speed: FloatArray, scale: float) -> str:
    if not len(speed):
        return ""
    percent = 100.0 * (speed[:, 1] - 1.0)
    reach = max(2.0, float(np.ceil(np.percentile(np.abs(percent), 99))))
    middle = TOP + SPEED_H / 2
    down = middle - np.clip(percent / reach, -1, 1) * SPEED_H / 2
    points = " ".join(f"{LEFT + t * scale:.1f},{y:.1f}" for t, y in zip(speed[:, 0], down, strict=True))
    half = SPEED_H / 2 / reach
    labels = "".join(
        f'<path d="M{LEFT} {middle - v * half:.1f}H{WIDTH - RIGHT}" stroke="#ddd"/>'
        f'<text x="{LEFT - 8}" y="{middle - v * half + 4:.1f}" text-anchor="end" fill="#666">{v:+g}</text>'
        for v in (-reach, 0.0, reach)
    )
    return labels + f'<polyline points="{points}" fill="none" stroke="{HEARD}" stroke-width="1.2"/>'


def _roll(turn: Turn, scale: float, top: float, roll_h: float, rows: tuple[float, float]) -> str:
    low, high = rows
    each = roll_h / (high - low)
    uneven = {(s.time_s, s.pitch) for s in turn.early_late}
    parts = []
    for p in range(int(np.ceil(low)), int(high) + 1):
        y = top + (high - p) * each
        if p % 12 in (0, 4, 7):  # C, E and G are enough to find one's way
            parts.append(
                f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke="#ececec"/>'
                f'<text x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end" fill="#666">{note_name(p)}</text>'
            )
    for s in turn.sounds:
        colour = EXTRA if s.strike is None else UNEVEN if (s.time_s, s.pitch) in uneven else HEARD
        y = top + (high - s.pitch) * each
        parts.append(
            f'<rect x="{LEFT + s.time_s * scale:.1f}" y="{y - 2.5:.1f}" width="8" height="5" fill="{colour}"/>'
        )
    for missed, style in (
        (turn.missed, f'stroke="{SILENT}" stroke-width="1.4"'),
        (turn.untold, f'stroke="{UNTOLD}" stroke-dasharray="2 2"'),
    ):
        for m in missed:
            if m.time_s < 0.0:  # before the recording began
                continue
            x, y = LEFT + m.time_s * scale, top + (high - m.pitch) * each
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.5" fill="none" {style}/>')
    return "".join(parts)
