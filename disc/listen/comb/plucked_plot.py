"""A picture of a plucked comb: for each tooth the spectrum and the decay of its plucks, one card a tooth (SVG)."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d

from disc import svg
from disc.listen.comb.plucked import PluckedComb, PluckedTooth
from disc.listen.pitch_words import pitch_words
from disc.listen.sound.audio import FloatArray, Recording
from disc.listen.sound.bands import Whole, band, hz_of_pitch, transform

# px: a card for each tooth, cards across, and what lies between them; laid out by eye
CARD_W, CARD_H, COLUMNS, GAP = 330, 150, 3, 14
PANEL_W, PANEL_H, PANEL_TOP = 145, 88, 40  # px: spectrum and decay within a card; laid out by eye
LOW_HZ, HIGH_HZ = 150.0, 12_000.0  # shown: from under the lowest tooth to the pluck's own noise; by eye
RANGE_DB, DECAY_S = 70.0, 1.5  # shown below the loudest, and after the pluck; by eye
# Unless said otherwise: chosen by hand while looking at development recordings; not fitted.
BLUR_S = 0.02  # of the band in which the decay is read: the next pluck shows so much sooner
MARK = "#c0562b"
COLOURS = ("#1f5f8b", "#c0562b", "#4a7c3a", "#7a4a8c", "#555555")
WARN = {"dead": "#8b1a1a", "buzzing": "#b8860b", "doubled": "#7a4a8c"}


def plot_plucked(recording: Recording, comb: PluckedComb) -> str:
    """The SVG's text. Levels are in dB against each pluck's own highest; decay is that of the fundamental's band."""
    rows = -(-len(comb.teeth) // COLUMNS)
    width, height = COLUMNS * (CARD_W + GAP) + GAP, rows * (CARD_H + GAP) + GAP + 24
    whole = transform(recording)
    words = (
        f"Left: spectrum, {LOW_HZ:.0f} Hz to {HIGH_HZ / 1000:.0f} kHz, {RANGE_DB:.0f} dB. Right: decay of the "
        f"fundamental over {DECAY_S:g} s. One line a pluck, as far as the next one. Mark: the fundamental."
    )
    parts = [svg.text(GAP, 18, words, font_size=12)]
    starts = np.sort([time_s for tooth in comb.teeth for time_s in tooth.plucks_s])
    for k, tooth in enumerate(comb.teeth):
        x = GAP + (k % COLUMNS) * (CARD_W + GAP)
        y = 24 + GAP + (k // COLUMNS) * (CARD_H + GAP)
        parts.append(_card(recording, whole, tooth, starts, x, y))
    return svg.document(width, height, parts, font_family="sans-serif", font_size=10)


def _card(
    recording: Recording, whole: Whole, tooth: PluckedTooth, starts: FloatArray, x: float, y: float
) -> str:  # fmt: skip
    condition = "open" if tooth.condition is None else tooth.condition.value
    colour = WARN.get(condition, "#222222")
    nothing = "no pitch" if tooth.plucks_s else "not heard"
    words = nothing if tooth.pitch is None else pitch_words(tooth.pitch)
    ring = "" if tooth.t60_s is None else f", rings {tooth.t60_s:.2f} s"
    parts = [
        svg.rect(0, 0, CARD_W, CARD_H, fill="none", stroke="#bbb"),
        svg.text(8, 16, str(tooth.tooth), font_size=12, font_weight="bold"),
        svg.text(34, 16, words + ring),
        svg.text(CARD_W - 8, 16, condition, text_anchor="end", fill=colour, font_weight="bold"),
        svg.text(8, 31, tooth.words, fill="#777", font_size=9),
        _frame(12, [(hz, _log_x(hz)) for hz in (200, 500, 1000, 2000, 5000, 10000)], "{:g}"),
        _frame(CARD_W / 2 + 8, [(s, s / DECAY_S * PANEL_W) for s in (0.0, 0.5, 1.0, 1.5)], "{:g} s"),
    ]
    if tooth.pitch is not None:
        at = 12 + _log_x(hz_of_pitch(tooth.pitch))
        parts.append(svg.path(f"M{at:.1f} {PANEL_TOP + PANEL_H}l-3 6h6z", fill=MARK))
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
    return svg.element("g", *parts, transform=f"translate({x},{y})")


def _frame(x: float, ticks: list[tuple[float, float]], form: str) -> str:
    parts = [svg.rect(x, PANEL_TOP, PANEL_W, PANEL_H, fill="#f8f8f6", stroke="#ddd")]
    for value, at in ticks:
        label = form.format(value / 1000 if value >= 1000 else value) + ("k" if value >= 1000 else "")
        parts.append(svg.line(x + at, PANEL_TOP, x + at, PANEL_TOP + PANEL_H, stroke="#e5e5e5"))
        below = PANEL_TOP + PANEL_H + 15
        parts.append(svg.text(x + at, below, label, text_anchor=_anchor(at), fill="#777", font_size=8))
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
    places = svg.points((round(x + px, 1), round(PANEL_TOP + py, 1)) for px, py in points)
    return svg.element("polyline", points=places, fill="none", stroke=colour, stroke_width=0.8, stroke_opacity=0.85)
