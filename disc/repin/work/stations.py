"""Every place of the disc with its work, its nominal place, its wire, drill, depth and least wall; numbered in order.

In: pins, settled findings and the layout. Out: stations, upper face first, each face once round by rising theta.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from disc.check.decisions import SettledFinding
from disc.check.kinds import Kind
from disc.records import UNSTATED_SIGMA_MM, Finding, Pin, Side
from disc.repin.records import SURE_NOT, Operation, PlaceOnFace, Station, StationTask, spot
from disc.repin.work.drills import WIRE_MM, Drill, PinStock, choose_stock, metric_drills
from disc.repin.work.hold_back import NO_DOUBT, WHICH_WAY, DiscDoubt, look_first
from disc.repin.work.metal_left import LEAST_WALL_MM, Hole, Window, drill_depths, least_wall
from disc.repin.work.nominal_places import (
    Layout,
    bar_and_beat,
    nominal_place,
    tolerance_at,
    usual_diameter,
    usual_height,
)
from disc.repin.work.what_to_do import (
    BRING_OVER_SHARE,
    PlaceWork,
    Verdicts,
    is_near,
    tip_over,
    verdicts_of,
    work_at_pin,
    work_without_hole,
)

# Where no pin of the face was measured; common practice, no source: pins stand 0.25 to 0.8 mm.
USUAL_STANDING_MM = 0.5
OLD_HOLE_NOTE = "no drilling, the hole is there: draw what still stands in it, clear it, gauge it with a drill's shank"


@dataclass(frozen=True, slots=True)
class Shop:
    """What the workshop has, wire and drills, and what the disc has besides pins: windows between crossings, screws."""

    wires_mm: tuple[float, ...] = WIRE_MM
    drills: tuple[Drill, ...] = metric_drills()
    windows: tuple[Window, ...] = ()
    obstacles: tuple[Hole, ...] = ()


def stations_of_reading(
    pins: Sequence[Pin],
    settled: Sequence[SettledFinding],
    layout: Layout,
    shop: Shop,
    doubt: DiscDoubt = NO_DOUBT,
) -> tuple[Station, ...]:
    """The stations of a disc that was read: pins as they are, holes, and places where a pin is wanted.

    doubt: what is in doubt of the disc as a whole, and holds back work that cannot be undone.
    """
    stock = choose_stock(usual_diameter(pins), shop.wires_mm, shop.drills)
    drafts: list[Station] = []
    for pin in pins:
        said = verdicts_of(pin, settled)
        height = usual_height(pins, pin.side, pin.tooth)
        at = (pin.side, pin.r_mm, pin.theta_deg)
        work, if_so = look_first(work_at_pin(pin, said, layout.plate, height), said, at, doubt)
        if work.anew and doubt.unturned:
            work = replace(work, tasks=(StationTask(Operation.LOOK, WHICH_WAY),), anew=False, look=True)
        made = _at_pin(pin, work, said.finding, layout, height or USUAL_STANDING_MM, stock, doubt)
        drafts += [replace(station, if_so=if_so) for station in made] if if_so else made
    for one in settled:
        if one.finding.kind == Kind.MISSING and not any(is_near(one.finding, pin) for pin in pins):
            drafts.append(_without_hole(one, pins, layout, stock, doubt))
    return _with_walls(_numbered(drafts), pins, layout, shop)


def stations_of_design(
    pins: Sequence[Pin],
    layout: Layout,
    shop: Shop,
    kept: Collection[int] = (),
    reused: Collection[int] = (),
) -> tuple[Station, ...]:
    """The stations of a new disc: every pin is drilled for and set where the design puts it.

    kept, reused: where an old disc is filled up, numbers of old pins that stay, and of new pins whose holes are there.
    """
    usual = usual_diameter(pins)
    drafts = []
    for pin in pins:
        place = spot(pin.r_mm, pin.theta_deg)
        diameter = pin.diameter_mm or usual
        if pin.id in kept:
            drafts.append(_kept(pin, place))
            continue
        bar, beat = bar_and_beat(layout, pin.theta_deg, pin.tooth, pin.id)
        new = Station(
            number=None,
            side=pin.side,
            place=place,
            bar=bar,
            beat=beat,
            tasks=(
                StationTask(Operation.DRILL, "laid out by design"),
                StationTask(Operation.SET, "laid out by design"),
            ),
            nominal=place,
            on_grid=True,
            tolerance=tolerance_at(layout, pin.side, pin.r_mm, pin.tooth, diameter),
            pin_id=pin.id,
            tooth=pin.tooth,
            stock=choose_stock(diameter, shop.wires_mm, shop.drills),
            standing_mm=pin.height_mm or usual_height(pins, pin.side, pin.tooth) or USUAL_STANDING_MM,
        )
        drafts.append(_in_old_hole(new, pin) if pin.id in reused else new)
    return _with_walls(_numbered(drafts), pins, layout, shop)


def _kept(pin: Pin, place: PlaceOnFace) -> Station:
    stays = (StationTask(Operation.LEAVE, "an old pin that the tune keeps"),)
    return Station(None, pin.side, place, stays, found=place, nominal=place, pin_id=pin.id, tooth=pin.tooth)


def _in_old_hole(new: Station, pin: Pin) -> Station:
    """A designed pin whose hole an old pin left: nothing is drilled, and where the hole lies is as it was found."""
    put = (StationTask(Operation.SET, "laid out by design, in an old pin's hole"),)
    notes = (*new.notes, OLD_HOLE_NOTE)
    return replace(new, tasks=put, found=new.place, on_grid=False, sigma_mm=pin.sigma_mm, notes=notes)


# ---- one place


def _at_pin(
    pin: Pin,
    work: PlaceWork,
    finding: Finding | None,
    layout: Layout,
    height_mm: float,
    stock: PinStock,
    doubt: DiscDoubt,
) -> list[Station]:
    found = spot(pin.r_mm, pin.theta_deg)
    nominal = nominal_place(layout, pin.side, found, pin.tooth, pin.id)
    bar, beat = (
        (finding.bar, finding.beat) if finding else bar_and_beat(layout, nominal.spot.theta_deg, pin.tooth, pin.id)
    )
    station = Station(
        number=None,
        side=pin.side,
        place=found,
        tasks=work.tasks,
        probability=work.wanted,
        found=found,
        nominal=nominal.spot,
        on_grid=nominal.on_grid,
        tolerance=tolerance_at(layout, pin.side, pin.r_mm, pin.tooth, stock.wire_mm),
        early_ms=nominal.early_ms if nominal.on_grid else None,
        outward_mm=nominal.outward_mm if pin.tooth in layout.track_mm else None,
        sigma_mm=pin.sigma_mm,
        pin_id=pin.id,
        tooth=pin.tooth,
        bar=bar,
        beat=beat,
        notes=work.notes,
        may_break=work.may_break,
    )
    if work.anew:
        return _set_right(station, pin.height_mm or height_mm, layout, stock)
    if Operation.SET in station.operations:
        station = replace(station, stock=stock, standing_mm=height_mm)
        if not doubt.unturned:  # early or late, and so the way to bring it, is not known before
            station = replace(station, notes=(*station.notes, *_off_place(station, layout)))
    return [station if not _is_looked_at(work) else replace(station, number=0)]


def _is_looked_at(work: PlaceWork) -> bool:
    """Whether a place gets a number on the sheets: there is work, or something a person should see."""
    return work.look or any(task.operation is not Operation.LEAVE for task in work.tasks)


def _set_right(station: Station, height_mm: float, layout: Layout, stock: PinStock) -> list[Station]:
    """A pin accepted as misplaced: its tip is brought over if that is little, else it is pulled and set anew."""
    if station.nominal is None or station.tolerance is None:
        return [station]
    shift_x, shift_y = station.nominal.x_mm - station.place.x_mm, station.nominal.y_mm - station.place.y_mm
    shift = math.hypot(shift_x, shift_y)
    why = "; ".join(note for note in station.notes if note) or "accepted as misplaced"
    if shift <= min(station.tolerance.along_mm, station.tolerance.radial_mm):
        leave = StationTask(Operation.LEAVE, f"{why}; but its right place is not known, so it is left")
        return [replace(station, number=0, tasks=(leave,), notes=())]
    if shift <= BRING_OVER_SHARE * height_mm:
        task = tip_over(shift_x, shift_y, station.place.theta_deg, layout.plate, f"{why}: bring its tip to its place")
        return [replace(station, number=0, tasks=(task,), notes=())]
    old = (StationTask(Operation.PULL, why), StationTask(Operation.PLUG, "its hole would weaken the new one beside it"))
    new = (StationTask(Operation.DRILL, f"its right place, {shift:.2f} mm away"), StationTask(Operation.SET, why))
    anew = replace(
        station,
        number=0,
        tasks=new,
        place=station.nominal,
        found=None,
        early_ms=None,
        outward_mm=None,
        sigma_mm=None,
        stock=stock,
        standing_mm=height_mm,
        notes=("plug the old hole first",),
    )
    return [replace(station, number=0, tasks=old, notes=()), anew]


def _off_place(station: Station, layout: Layout) -> tuple[str, ...]:
    """What to do about an old hole that is off its nominal place by more than can be heard or the tip allows."""
    if station.nominal is None or station.tolerance is None:
        return ()
    doubt_mm = 2.0 * (station.sigma_mm or UNSTATED_SIGMA_MM)
    shift_x, shift_y = station.nominal.x_mm - station.place.x_mm, station.nominal.y_mm - station.place.y_mm
    along_mm = abs(station.early_ms or 0.0) / 1000.0 / layout.plate.revolution_s * 2 * math.pi * station.place.r_mm
    late = along_mm > max(station.tolerance.along_mm, doubt_mm)
    aside = abs(station.outward_mm or 0.0) > max(station.tolerance.radial_mm, doubt_mm)
    if not (late or aside):
        return ()
    task = tip_over(shift_x, shift_y, station.place.theta_deg, layout.plate, "")
    if (task.amount_mm or 0.0) > BRING_OVER_SHARE * (station.standing_mm or USUAL_STANDING_MM):
        return (f"the hole is {task.amount_mm:.2f} mm off its nominal place: is it this tooth's hole?",)
    early = station.early_ms or 0.0
    strikes = f"the hole strikes {abs(early):.0f} ms {'early' if early > 0 else 'late'}" if late else "off its track"
    return (f"{strikes}: set the pin upright, then bring its tip over, {task.toward}",)


def _without_hole(
    one: SettledFinding, pins: Sequence[Pin], layout: Layout, stock: PinStock, doubt: DiscDoubt
) -> Station:
    finding = one.finding
    near = spot(finding.r_mm, finding.theta_deg)
    nominal = nominal_place(layout, finding.side, near, finding.tooth)
    at = (finding.side, nominal.spot.r_mm, nominal.spot.theta_deg)
    work, if_so = look_first(work_without_hole(one), Verdicts({Kind(finding.kind): one}), at, doubt)
    return Station(
        number=0 if work.wanted > SURE_NOT and _is_looked_at(work) else None,
        side=finding.side,
        place=nominal.spot,
        tasks=work.tasks,
        probability=work.wanted,
        nominal=nominal.spot,
        on_grid=nominal.on_grid,
        tolerance=tolerance_at(layout, finding.side, nominal.spot.r_mm, finding.tooth, stock.wire_mm),
        tooth=finding.tooth,
        bar=finding.bar,
        beat=finding.beat,
        stock=stock,
        standing_mm=usual_height(pins, finding.side, finding.tooth) or USUAL_STANDING_MM,
        notes=work.notes,
        if_so=if_so,
    )


# ---- the whole disc


def _numbered(drafts: Sequence[Station]) -> tuple[Station, ...]:
    """In order of the work; every place with work or something to look at gets the next number."""
    order = list(Side)
    ranked = sorted(drafts, key=lambda s: (order.index(s.side), s.place.theta_deg, s.place.r_mm, s.pin_id or 0))
    stations, count = [], 0
    for station in ranked:
        is_listed = station.number is not None or any(t.operation is not Operation.LEAVE for t in station.tasks)
        count += is_listed
        stations.append(replace(station, number=count if is_listed else None))
    return tuple(stations)


def _with_walls(stations: tuple[Station, ...], pins: Sequence[Pin], layout: Layout, shop: Shop) -> tuple[Station, ...]:
    """Depth for every hole to be drilled and the least wall beside every hole that is drilled or gets a pin."""
    drilled = [s for s in stations if s.needs_hole]
    usual = usual_diameter(pins) if pins else None
    standing = [_hole(s.side, s.found, usual or 0.0, _name(s)) for s in stations if s.found is not None]
    planned = [_hole(s.side, s.place, s.stock.wire_mm if s.stock else 0.0, _name(s)) for s in drilled]
    depths = drill_depths(planned, standing, layout.plate)
    known = [replace(hole, depth_mm=depth.depth_mm) for hole, depth in zip(planned, depths, strict=True)]
    depth_of = {id(station): depth for station, depth in zip(drilled, depths, strict=True)}
    hole_of = {id(station): hole for station, hole in zip(drilled, known, strict=True)}
    everything = [*standing, *known, *shop.obstacles]
    done = []
    for station in stations:
        if Operation.SET not in station.operations:
            done.append(station)
            continue
        hole = hole_of.get(id(station)) or next(h for h in standing if h.name == _name(station))
        wall = least_wall(hole, [h for h in everything if h is not hole], layout.plate, shop.windows)
        notes = list(station.notes)
        if wall and wall.wall_mm < LEAST_WALL_MM:
            notes.append(f"only {wall.wall_mm:.2f} mm of metal to {wall.to}")
        depth = depth_of.get(id(station))
        if depth and depth.words:
            notes.append(depth.words)
        done.append(
            replace(station, depth_mm=depth.depth_mm if depth else None, wall=wall, notes=tuple(dict.fromkeys(notes)))
        )
    return tuple(done)


def _hole(side: Side, place: PlaceOnFace | None, diameter_mm: float, name: str) -> Hole:
    assert place is not None
    return Hole(side, place.x_mm, place.y_mm, diameter_mm, None, name)


def _name(station: Station) -> str:
    if station.number is not None:
        return f"hole {station.number} ({station.side.value})"
    return f"pin {station.pin_id} ({station.side.value})"
