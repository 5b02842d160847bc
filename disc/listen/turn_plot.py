"""A picture of a judged turn: the speed over time, and every strike heard, silent or extra, by pitch (SVG)."""

from __future__ import annotations

import numpy as np

from disc.listen.audio import FloatArray
from disc.listen.turn import Turn

WIDTH, SPEED_H, ROLL_H, LEFT, TOP, GAP = 1100, 150, 280, 60, 30, 40


def plot_turn(turn: Turn) -> str:
    """The SVG's text: above the speed in % of the mean, below the strikes."""
    end = float(turn.speed[-1, 0]) if len(turn.speed) else 1.0
    height = TOP + SPEED_H + GAP + ROLL_H + 40
    scale = (WIDTH - LEFT - 20) / end
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="sans-serif" '
        f'font-size="11" width="{WIDTH}" height="{height}"><rect width="100%" height="100%" fill="white"/>',
        f'<text x="{LEFT}" y="18" font-size="13">One turn takes {turn.revolution_s:.2f} s. Speed against its mean, '
        "% (above); strikes by pitch (below): heard, early or late (orange), extra (red).</text>",
        _speed(turn.speed, scale),
        _roll(turn, scale, TOP + SPEED_H + GAP),
    ]
    for second in range(0, int(end) + 1, 5):
        x = LEFT + second * scale
        parts.append(
            f'<path d="M{x:.1f} {TOP}V{height - 34}" stroke="#eee"/>'
            f'<text x="{x:.1f}" y="{height - 20}" text-anchor="middle" fill="#666">{second} s</text>'
        )
    return "\n".join([*parts, "</svg>\n"])


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
        f'<path d="M{LEFT} {middle - v * half:.1f}H{WIDTH - 20}" stroke="#ddd"/>'
        f'<text x="{LEFT - 8}" y="{middle - v * half + 4:.1f}" text-anchor="end" fill="#666">{v:+g}</text>'
        for v in (-reach, 0.0, reach)
    )
    return labels + f'<polyline points="{points}" fill="none" stroke="#1f5f8b" stroke-width="1.2"/>'


def _roll(turn: Turn, scale: float, top: float) -> str:
    pitches = [s.pitch for s in turn.sounds]
    if not pitches:
        return ""
    low, high = min(pitches) - 1, max(pitches) + 1
    uneven = {(s.time_s, s.pitch) for s in turn.early_late}
    parts = [f'<rect x="{LEFT}" y="{top}" width="{WIDTH - LEFT - 20}" height="{ROLL_H}" fill="#f8f8f6" stroke="#ddd"/>']
    for s in turn.sounds:
        colour = "#c0392b" if s.strike is None else "#d9822b" if (s.time_s, s.pitch) in uneven else "#1f5f8b"
        y = top + ROLL_H - (s.pitch - low) / (high - low) * ROLL_H
        parts.append(f'<rect x="{LEFT + s.time_s * scale:.1f}" y="{y - 2:.1f}" width="8" height="4" fill="{colour}"/>')
    return "".join(parts)
