"""A picture of a plucked comb: for each tooth the spectrum and the decay of its plucks, one card a tooth (SVG)."""

from __future__ import annotations

from html import escape

import numpy as np
from scipy.ndimage import maximum_filter1d

from disc.listen.comb.plucked import PluckedComb, PluckedTooth
from disc.listen.pitch_words import pitch_words
from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import Whole, band, hz_of_pitch, transform

CARD_W, CARD_H, COLUMNS, GAP = 330, 150, 3, 14
PANEL_W, PANEL_H, PANEL_TOP = 145, 88, 40
LOW_HZ, HIGH_HZ = 150.0, 12_000.0
RANGE_DB, DECAY_S = 70.0, 1.5
BLUR_S = 0.02  # of the band in which the decay is read: the next pluck shows so much sooner
MARK = "#c0562b"
COLOURS = ("#1f5f8b", "#c0562b", "#4a7c3a", "#7a4a8c", "#555555")
WARN = {"dead": "#8b1a1a", "buzzing": "#b8860b", "doubled": "#7a4a8c"}


def plot_plucked(recording: Recording, comb: PluckedComb) -> str:
    """The SVG's text. Levels are in dB against each pluck's own highest; decay is that of the fundamental's band."""
    rows = -(-len(comb.teeth) // COLUMNS)
    width, height = COLUMNS * (CARD_W + GAP) + GAP, rows * (CARD_H + GAP) + GAP + 24
    whole = transform(recording)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" '
        f'font-size="10" width="{width}" height="{height}"><rect width="100%" height="100%" fill="white"/>',
        f'<text x="{GAP}" y="18" font-size="12">Left: spectrum, {LOW_HZ:.0f} Hz to {HIGH_HZ / 1000:.0f} kHz, '
        f"{RANGE_DB:.0f} dB. Right: decay of the fundamental over {DECAY_S:g} s. One line a pluck, as far as "
        "the next one. Mark: the fundamental.</text>",
    ]
    starts = np.sort([time_s for tooth in comb.teeth for time_s in tooth.plucks_s])
    for k, tooth in enumerate(comb.teeth):
        x = GAP + (k % COLUMNS) * (CARD_W + GAP)
        y = 24 + GAP + (k // COLUMNS) * (CARD_H + GAP)
        parts.append(_card(recording, whole, tooth, starts, x, y))
    return "\n".join([*parts, "</svg>\n"])


def _card(
    recording: Recording, whole: Whole, tooth: PluckedTooth, starts: FloatArray, x: float, y: float
) -> str:  # fmt: skip
    condition = "open" if tooth.condition is None else tooth.condition.value
    colour = WARN.get(condition, "#222222")
    nothing = "no pitch" if tooth.plucks_s else "not heard"
    words = nothing if tooth.pitch is None else pitch_words(tooth.pitch)
    ring = "" if tooth.t60_s is None else f", rings {tooth.t60_s:.2f} s"
    parts = [
        f'<g transform="translate({x},{y})"><rect width="{CARD_W}" height="{CARD_H}" fill="none" stroke="#bbb"/>',
        f'<text x="8" y="16" font-size="12" font-weight="bold">{tooth.tooth}</text>',
        f'<text x="34" y="16">{escape(words + ring)}</text>',
        f'<text x="{CARD_W - 8}" y="16" text-anchor="end" fill="{colour}" font-weight="bold">{condition}</text>',
        f'<text x="8" y="31" fill="#777" font-size="9">{escape(tooth.words)}</text>',
        _frame(12, [(hz, _log_x(hz)) for hz in (200, 500, 1000, 2000, 5000, 10000)], "{:g}"),
        _frame(CARD_W / 2 + 8, [(s, s / DECAY_S * PANEL_W) for s in (0.0, 0.5, 1.0, 1.5)], "{:g} s"),
    ]
    if tooth.pitch is not None:
        at = 12 + _log_x(hz_of_pitch(tooth.pitch))
        parts.append(f'<path d="M{at:.1f} {PANEL_TOP + PANEL_H}l-3 6h6z" fill="{MARK}"/>')
    for n, time_s in enumerate(tooth.plucks_s):
        pen = COLOURS[n % len(COLOURS)]
        parts.append(_line(_spectrum(recording, time_s), 12, pen))
        if tooth.pitch is not None:
            envelope, rate = band(whole, hz_of_pitch(tooth.pitch), 60.0)
            later = starts[starts > time_s]
            shown_s = min(DECAY_S, float(later[0]) - BLUR_S - time_s) if len(later) else DECAY_S
            start = int(time_s * rate)
            level = 20 * np.log10(np.abs(envelope[start : start + int(shown_s * rate)]) + 1e-9)
            if len(level):
                across = np.arange(len(level)) / rate / DECAY_S * PANEL_W
                parts.append(_line(np.column_stack([across, _down(level)]), CARD_W / 2 + 8, pen))
    return "".join([*parts, "</g>"])


def _frame(x: float, ticks: list[tuple[float, float]], form: str) -> str:
    parts = [f'<rect x="{x}" y="{PANEL_TOP}" width="{PANEL_W}" height="{PANEL_H}" fill="#f8f8f6" stroke="#ddd"/>']
    for value, at in ticks:
        label = form.format(value / 1000 if value >= 1000 else value) + ("k" if value >= 1000 else "")
        parts.append(
            f'<path d="M{x + at:.1f} {PANEL_TOP}v{PANEL_H}" stroke="#e5e5e5"/><text x="{x + at:.1f}" '
            f'y="{PANEL_TOP + PANEL_H + 15}" text-anchor="{_anchor(at)}" fill="#777" font-size="8">{label}</text>'
        )
    return "".join(parts)


def _anchor(at: float) -> str:
    """Labels at a panel's ends stay within it."""
    return "start" if at < 1 else "end" if at > PANEL_W - 1 else "middle"


def _log_x(hz: float) -> float:
    return float(np.log(hz / LOW_HZ) / np.log(HIGH_HZ / LOW_HZ) * PANEL_W)


def _down(level_db: FloatArray) -> FloatArray:
    """dB as pixels down from the panel's top, the highest level at the top."""
    return np.clip((level_db.max() - level_db) / RANGE_DB, 0.0, 1.0) * PANEL_H


def _spectrum(recording: Recording, time_s: float) -> FloatArray:
    """(x, y) pixels of the spectrum from 10 to 260 ms after a pluck, the highest of each pixel's width."""
    start, count = int((time_s + 0.01) * recording.rate), int(0.25 * recording.rate)
    piece = np.zeros(count)
    part = recording.samples[start : start + count]
    piece[: len(part)] = part
    level = 20 * np.log10(np.abs(np.fft.rfft(piece * np.hanning(count), 4 * count)) + 1e-9)
    hz = np.fft.rfftfreq(4 * count, 1 / recording.rate)
    keep = (hz >= LOW_HZ) & (hz <= HIGH_HZ)
    at = np.log(hz[keep] / LOW_HZ) / np.log(HIGH_HZ / LOW_HZ) * PANEL_W
    grid = np.arange(0.0, min(PANEL_W, at.max()), 0.75)
    raised = maximum_filter1d(level[keep], 5)
    return np.column_stack([grid, _down(np.interp(grid, at, raised))])


def _line(points: FloatArray, x: float, colour: str) -> str:
    text = " ".join(f"{x + px:.1f},{PANEL_TOP + py:.1f}" for px, py in points)
    return f'<polyline points="{text}" fill="none" stroke="{colour}" stroke-width="0.8" stroke-opacity="0.85"/>'
