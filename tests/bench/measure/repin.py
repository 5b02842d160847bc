"""Measures the plan's outputs against their bars and prints a table: dividing, drawings, DXF, clearances, numbers.

Run: python -m tests.bench.measure.repin [DISCS]. Invented discs of 15 to 40 mm, up to 70 pins a face, both ways of
turning, both papers; each is planned as a new disc and as a damaged old one. The printed page is rendered at 600 dpi by
pdftoppm and measured; drill sizes and the handbook's table are in tests/repin/.
"""

from __future__ import annotations

import io
import math
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field, replace
from itertools import combinations
from pathlib import Path

import ezdxf
import numpy as np
from PIL import Image
from shapely.geometry import Point

from disc.check.decisions import settle
from disc.frame import disc_to_view_mm
from disc.records import Comb, Condition, Evidence, Finding, Pin, Plate, Side, Tooth, Turns
from disc.repin.machine.dividing import COMMON_WORMS, best_dividing
from disc.repin.records import Plan
from disc.repin.sheets.drill_table import error_ms
from disc.repin.sheets.dxf import face_dxf
from disc.repin.sheets.face_sheet import JobPage, enlarged_sheet, largest_enlargement, true_size_sheet
from disc.repin.sheets.work_list import sheets_pdf
from disc.repin.work.metal_left import LEAST_WALL_MM
from disc.repin.work.nominal_places import lay_out
from disc.repin.work.stations import Shop, stations_of_design, stations_of_reading
from tests.bench.truth.known import known

DPI = 600
PX_PER_MM = DPI / 25.4


@dataclass
class Worst:
    """The worst of each measure so far."""

    bar_mm: float = 0.0
    hole_mm: float = 0.0
    holes: int = 0
    dxf_mm: float = 0.0
    dxf_faults: int = 0
    wall_mm: float = 0.0
    walls: int = 0
    overlaps: int = 0
    numbers: int = 0
    unplaced: int = 0
    dividing_ms: dict[int, list[float]] = field(default_factory=dict)
    table_s: float = 0.0
    plan_cpu_s: list[float] = field(default_factory=list)


def main() -> None:
    """Print the table."""
    discs = int(sys.argv[1]) if len(sys.argv) > 1 else 6
    worst = Worst()
    for seed in range(discs):
        rng = np.random.default_rng([20, seed])
        plate = invented_plate(rng)
        comb = invented_comb(rng, plate)
        pins = invented_pins(rng, comb, plate)
        paper = ("a4", "letter")[seed % 2]
        for plan in plans(rng, plate, comb, pins, worst):
            measure(plan, paper, worst)
    print_table(discs, worst)


def invented_plate(rng: np.random.Generator) -> Plate:
    """A plate of 15 to 40 mm."""
    diameter = float(rng.uniform(15, 40))
    turns = list(Turns)[int(rng.integers(2))]
    revolution = float(rng.uniform(35, 60))
    return Plate(diameter, turns, revolution, 14.0, float(rng.uniform(0.7, 1.4)), diameter * 0.1, 0.9, 0.7)


def invented_comb(rng: np.random.Generator, plate: Plate) -> Comb:
    """Tips at least 0.3 mm apart, from a third of the radius to nine tenths of it."""
    count = int(min(13, plate.radius_mm * 0.55 / 0.35))
    teeth = []
    for face, side in enumerate(Side):
        radii = np.linspace(0.34, 0.9, count) * plate.radius_mm + face * 0.1
        for n, radius in enumerate(radii):
            theta = float(rng.uniform(0, 20))
            teeth.append(Tooth(face * count + n + 1, side, float(radius), theta, 60.0 + 2 * n + face))
    return Comb(tuple(teeth))


def invented_pins(rng: np.random.Generator, comb: Comb, plate: Plate) -> tuple[Pin, ...]:
    """Up to 140 pins, no two of one face nearer than 0.45 mm."""
    pins: list[Pin] = []
    for _ in range(2000):
        tooth = comb.teeth[int(rng.integers(len(comb.teeth)))]
        pin = Pin(len(pins) + 1, tooth.side, tooth.tip_r_mm, float(rng.uniform(8, 352)), 0.25, 0.5, tooth=tooth.number)
        if all(pin.side is not p.side or _apart(pin, p) > 0.45 for p in pins):
            pins.append(pin)
        if len(pins) == 140:
            break
    return tuple(pins)


def _apart(a: Pin, b: Pin) -> float:
    return abs(a.r_mm * np.exp(1j * np.radians(a.theta_deg)) - b.r_mm * np.exp(1j * np.radians(b.theta_deg)))


def plans(rng: np.random.Generator, plate: Plate, comb: Comb, pins: tuple[Pin, ...], worst: Worst) -> list[Plan]:
    """The disc as a new one, and as an old one with a tenth of its pins gone or bent and three holes to drill."""
    layout = lay_out(pins, comb, plate, None)
    start = time.process_time()
    new = Plan(plate, True, stations_of_design(pins, layout, Shop()))
    worst.plan_cpu_s.append(time.process_time() - start)
    hurt = [hurt_pin(rng, pin) for pin in pins]
    lost = [int(i) for i in rng.choice(len(pins), 3, replace=False)]
    findings = [
        Finding(
            "missing", p.side, p.r_mm, p.theta_deg, 0.95, (Evidence("heard", "a strain has it", 3.0),), None, p.tooth
        )
        for p in (pins[i] for i in lost)
    ]
    left = tuple(pin for i, pin in enumerate(hurt) if i not in lost)
    settled, _ = settle(findings, ())
    old = Plan(plate, False, stations_of_reading(left, settled, lay_out(left, comb, plate, None), Shop()))
    measure_dividing(new, worst)
    return [new, old]


def hurt_pin(rng: np.random.Generator, pin: Pin) -> Pin:
    """One pin in ten missing, one in twenty a stub, one in twenty bent."""
    fate = rng.uniform()
    if fate < 0.10:
        return replace(pin, condition=Condition.MISSING, height_mm=None)
    if fate < 0.15:
        return replace(pin, condition=Condition.STUB, height_mm=0.1)
    if fate < 0.20:
        lean = rng.uniform(-0.3, 0.3, 2)
        return replace(pin, condition=Condition.BENT, lean_x_mm=float(lean[0]), lean_y_mm=float(lean[1]))
    return pin


def measure_dividing(plan: Plan, worst: Worst) -> None:
    """Worst error of the best circle for each common worm, ms."""
    angles = [s.place.theta_deg for s in plan.stations]
    for worm in COMMON_WORMS:
        made = best_dividing(angles, worm)
        worst.dividing_ms.setdefault(worm, []).append(max(abs(error_ms(s, plan.plate)) for s in made.settings))


def measure(plan: Plan, paper: str, worst: Worst) -> None:
    """All drawings of one plan."""
    for side in Side:
        scale = largest_enlargement(plan.plate, paper)
        page = JobPage(paper, "bench")
        large = enlarged_sheet(plan, side, page, scale).svg()
        sheets = {"one": true_size_sheet(plan, side, page).svg(), "two": large}
        measure_numbers(large, plan, side, worst)
        for ink, factor in zip(rendered(sheets, paper), (1.0, float(scale)), strict=True):
            measure_page(ink, plan, side, factor, worst)
        measure_dxf(plan, side, worst)
    measure_walls(plan, worst)


def rendered(sheets: dict[str, str], paper: str) -> list[np.ndarray]:
    """Darkness of each page at 600 dpi, 0 to 1."""
    with tempfile.TemporaryDirectory() as folder:
        pdf = Path(folder) / "sheets.pdf"
        pdf.write_bytes(sheets_pdf(sheets, paper))
        subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", str(pdf), str(Path(folder) / "p")], check=True)
        pages = sorted(Path(folder).glob("p*.pgm"))
        return [1.0 - np.asarray(Image.open(page), dtype=np.float32) / 255.0 for page in pages]


def measure_page(ink: np.ndarray, plan: Plan, side: Side, scale: float, worst: Worst) -> None:
    """The bar's length, and every drilled place from the bore's middle."""
    height_mm, width_mm = ink.shape[0] / PX_PER_MM, ink.shape[1] / PX_PER_MM
    y = height_mm - 16.0
    strokes = ink[_px(y - 2.6) : _px(y - 1.9)].mean(axis=0)
    columns = np.flatnonzero((strokes > 0.5) & (np.arange(strokes.size) < 118 * PX_PER_MM))
    groups = np.split(columns, np.flatnonzero(np.diff(columns) > 5) + 1)
    ends = [float((strokes[g] * g).sum() / strokes[g].sum()) for g in groups]
    worst.bar_mm = max(worst.bar_mm, abs((ends[-1] - ends[0]) / PX_PER_MM - 100.0))
    centre = find_centre(ink, width_mm / 2, plan.plate, scale)
    places = [(s, _view(s.place.x_mm, s.place.y_mm, side)) for s in plan.of(side) if s.number]
    half = 0.30 if scale == 1 else 0.9
    for station, (x, y_up) in places:
        alone = all(math.dist((x, y_up), q) * scale > half * 2 + 0.6 for s, q in places if s is not station)
        if not (station.needs_hole and alone) or station.in_doubt:
            continue  # a neighbour's sign would lie in the window and move the middle of its ink
        wanted = (centre[0] + scale * x, centre[1] - scale * y_up)
        got = middle(ink, *wanted, half)
        worst.hole_mm = max(worst.hole_mm, math.dist(got, wanted))
        worst.holes += 1


def _px(mm: float) -> int:
    return round(mm * PX_PER_MM)


def middle(ink: np.ndarray, x_mm: float, y_mm: float, half_mm: float) -> tuple[float, float]:
    """Middle of the ink in a square window, mm."""
    top, left, size = _px(y_mm - half_mm), _px(x_mm - half_mm), _px(2 * half_mm)
    part = ink[top : top + size, left : left + size]
    rows, columns = np.mgrid[0 : part.shape[0], 0 : part.shape[1]] + 0.5
    total = float(part.sum())
    return (left + float((part * columns).sum()) / total) / PX_PER_MM, (
        top + float((part * rows).sum()) / total
    ) / PX_PER_MM


def find_centre(ink: np.ndarray, x_mm: float, plate: Plate, scale: float) -> tuple[float, float]:
    """The arbor's centre: the place on the page's middle line with most ink on circles of the rim's and bore's size."""
    turn = np.radians(np.arange(0, 360, 2) + 1.0)
    radii = np.array([plate.radius_mm, known(plate.bore_mm, "the bore") / 2])[:, None] * scale
    best = (-1.0, 0.0)
    for y_mm in np.arange(40.0 + radii[0, 0], ink.shape[0] / PX_PER_MM - radii[0, 0], 0.04):
        rows = np.rint((y_mm + radii * np.sin(turn)) * PX_PER_MM - 0.5).astype(int)
        columns = np.rint((x_mm + radii * np.cos(turn)) * PX_PER_MM - 0.5).astype(int)
        best = max(best, (float(ink[np.clip(rows, 0, ink.shape[0] - 1), columns].mean()), float(y_mm)))
    return middle(ink, x_mm, best[1], radii[1, 0] + 0.3)


def _view(x_mm: float, y_mm: float, side: Side) -> tuple[float, float]:
    x, y = disc_to_view_mm(x_mm, y_mm, side)
    return float(x), float(y)


def measure_numbers(svg: str, plan: Plan, side: Side, worst: Worst) -> None:
    """Hole numbers that run into each other on the enlarged sheet."""
    from xml.etree import ElementTree

    tag = "{http://www.w3.org/2000/svg}"
    group = next(g for g in ElementTree.fromstring(svg).iter(f"{tag}g") if g.get("id") == "numbers")
    boxes = []
    for text in group.iter(f"{tag}text"):
        size = float(text.get("font-size", 0))
        x, y = float(text.get("x", 0)), float(text.get("y", 0))
        half = len(text.text or "") * 0.602 * size / 2
        boxes.append((x - half, y - 0.729 * size, x + half, y))
    worst.numbers += len(boxes)
    worst.unplaced += len(plan.numbered(side)) - len(boxes)
    worst.overlaps += sum(
        a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3] for a, b in combinations(boxes, 2)
    )


def measure_dxf(plan: Plan, side: Side, worst: Worst) -> None:
    """Read the DXF back: faults of the audit, and the farthest drill circle from its place."""
    doc = ezdxf.read(io.StringIO(face_dxf(plan, side)))
    audit = doc.audit()
    worst.dxf_faults += len(audit.errors) + len(audit.fixes)
    drawn = sorted((c.dxf.center.x, c.dxf.center.y) for c in doc.modelspace().query("CIRCLE[layer=='DRILL']"))
    wanted = sorted(_view(s.place.x_mm, s.place.y_mm, side) for s in plan.of(side) if s.needs_hole and not s.in_doubt)
    assert len(drawn) == len(wanted)
    off = [math.dist(a, b) for a, b in zip(drawn, wanted, strict=True)]
    worst.dxf_mm = max([worst.dxf_mm, *off])


def measure_walls(plan: Plan, worst: Worst) -> None:
    """Least walls to holes of the same face against shapely (holes of one face are side by side at any depth)."""
    drilled = [s for s in plan.stations if s.needs_hole and s.stock]
    discs = {
        id(s): Point(s.place.x_mm, s.place.y_mm).buffer((s.stock.wire_mm if s.stock else 0) / 2, 256) for s in drilled
    }
    for station in drilled:
        if not (plan.designed and station.wall and f"({station.side.value})" in station.wall.to):
            continue
        others = [discs[id(o)] for o in drilled if o is not station and o.side is station.side]
        true = min(discs[id(station)].distance(other) for other in others)
        if true > 0:
            worst.wall_mm = max(worst.wall_mm, abs(true - station.wall.wall_mm))
            worst.walls += 1


def print_table(discs: int, worst: Worst) -> None:
    """Measured against bars."""
    rows = [
        ("check bar, off 100 mm (600 dpi)", f"{worst.bar_mm:.4f} mm", "<= 0.05", worst.bar_mm <= 0.05),
        (f"{worst.holes} drilled places, off (600 dpi)", f"{worst.hole_mm:.4f} mm", "<= 0.05", worst.hole_mm <= 0.05),
        ("DXF read back, off", f"{worst.dxf_mm:.2e} mm", "<= 1e-6", worst.dxf_mm <= 1e-6),
        ("DXF audit, errors and fixes", f"{worst.dxf_faults}", "0", worst.dxf_faults == 0),
        (f"{worst.walls} walls against shapely, off", f"{worst.wall_mm:.1e} mm", "<= 1e-4", worst.wall_mm <= 1e-4),
        (f"overlaps among {worst.numbers} hole numbers", f"{worst.overlaps}", "0", worst.overlaps == 0),
        ("places without a number", f"{worst.unplaced}", "0", worst.unplaced == 0),
    ]
    print(f"{discs} invented discs, each new and old; least wall {LEAST_WALL_MM} mm")
    for what, measured, bar, holds in rows:
        print(f"{what:42s} {measured:>14s}   {bar:>8s}   {'holds' if holds else 'MISSED'}")
    for worm, errors in worst.dividing_ms.items():
        print(f"dividing head {worm}:1, worst of a whole disc {'':3s} {max(errors):8.1f} ms   (no bar; hearing 10 ms)")
    print(f"stations of a new disc: CPU {max(worst.plan_cpu_s):.2f} s at most")


if __name__ == "__main__":
    main()
