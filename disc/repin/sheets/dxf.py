"""A face of the disc as DXF in millimetres, its layers by operation, for a machine or a drawing program.

Axes are those of the view of the face: x towards the stop slot, y up, the arbor's centre at (0, 0); the lower face is
drawn as seen when the disc is turned over (frame.py). Work in doubt lies on layers of its own, so that a machine run
on the sure layers never drills what nobody has decided.
"""

from __future__ import annotations

import io
import math

import ezdxf
from ezdxf import options
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace

from disc.frame import disc_to_view_mm
from disc.records import Side
from disc.repin.records import Operation, PlaceOnFace, Plan, Station
from disc.repin.sheets.face_sheet import pin_mm, window_outline_mm
from disc.repin.work.metal_left import slot_size_mm

IN_DOUBT = "_IN_DOUBT"
MM_UNITS = 4  # $INSUNITS, by definition: 4 is millimetres in the DXF reference
COLOURS = {  # AutoCAD colour index, DXF reference
    Operation.LOOK: 4,
    Operation.LEAVE: 8,
    Operation.STRAIGHTEN: 5,
    Operation.PULL: 1,
    Operation.PLUG: 6,
    Operation.DRILL: 7,
    Operation.SET: 3,
    Operation.SHORTEN: 30,
}
# Unless said otherwise: chosen by eye on the printed sheet.
TEXT_MM = 0.5  # height of hole numbers in the drawing, at the disc's own scale


def layer_of(operation: Operation, in_doubt: bool) -> str:
    """The layer's name: DRILL, or DRILL_IN_DOUBT."""
    return operation.value.upper() + (IN_DOUBT if in_doubt else "")


def face_dxf(plan: Plan, side: Side) -> str:
    """The drawing of one face as DXF text (R2010); always the same text for the same plan."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no time of writing, no random numbers in the file
    try:
        doc = ezdxf.new("R2010", units=MM_UNITS)
        _layers(doc)
        space = doc.modelspace()
        _plate(space, plan, side)
        for station in plan.of(side):
            _station(space, station, side)
        _other_face(space, plan, side)
        stream = io.StringIO()
        doc.write(stream)
    finally:
        options.write_fixed_meta_data_for_testing = before
    return stream.getvalue()


def _layers(doc: Drawing) -> None:
    for name, colour in (("OUTLINE", 7), ("BORE", 7), ("CROSSINGS", 7), ("NUMBERS", 2), ("OTHER_FACE", 9)):
        doc.layers.add(name, color=colour)
    for operation, colour in COLOURS.items():
        doc.layers.add(layer_of(operation, False), color=colour)
        doc.layers.add(layer_of(operation, True), color=colour)


def _plate(space: Modelspace, plan: Plan, side: Side) -> None:
    """Rim, stop slot, bore and windows. A slot that was not measured is drawn at a usual size."""
    plate = plan.plate
    radius = plate.radius_mm
    width, depth = slot_size_mm(plate)
    half, bottom = width / 2.0, radius - depth
    edge = math.degrees(math.asin(min(half / radius, 1.0)))
    on = {"layer": "OUTLINE"}
    # The slot lies on the x axis in either view, so the rim's arc is the same in both.
    space.add_arc((0.0, 0.0), radius, edge, 360.0 - edge, dxfattribs=on)
    rim_x = radius * math.cos(math.radians(edge))
    for start, end in (
        ((rim_x, half), (bottom, half)),
        ((bottom, half), (bottom, -half)),
        ((bottom, -half), (rim_x, -half)),
    ):
        space.add_line(start, end, dxfattribs=on)
    if plate.bore_mm:
        space.add_circle((0.0, 0.0), plate.bore_mm / 2.0, dxfattribs={"layer": "BORE"})
    for window in plan.windows:
        points = [_view(x, y, side) for x, y in window_outline_mm(window)]
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": "CROSSINGS"})


def _station(space: Modelspace, station: Station, side: Side) -> None:
    centre = _at(station.place, side)
    for task in station.tasks:
        is_drilled = task.operation is Operation.DRILL and station.stock is not None
        diameter = station.stock.drill.diameter_mm if is_drilled and station.stock else pin_mm(station)
        layer = layer_of(task.operation, station.in_doubt)
        space.add_circle(centre, diameter / 2.0, dxfattribs={"layer": layer})
        if task.push_x_mm or task.push_y_mm:
            dx, dy = _view(task.push_x_mm, task.push_y_mm, side)
            space.add_line(centre, (centre[0] + dx, centre[1] + dy), dxfattribs={"layer": layer})
    if station.number is not None:
        text = space.add_text(str(station.number), height=TEXT_MM, dxfattribs={"layer": "NUMBERS"})
        text.set_placement((centre[0] + 0.3, centre[1] + 0.3), align=TextEntityAlignment.BOTTOM_LEFT)


def _other_face(space: Modelspace, plan: Plan, side: Side) -> None:
    """Holes of the other face where they would come out on this one."""
    for station in plan.stations:
        if station.side is not side:
            space.add_circle(_at(station.place, side), pin_mm(station) / 2.0, dxfattribs={"layer": "OTHER_FACE"})


def _at(place: PlaceOnFace, side: Side) -> tuple[float, float]:
    return _view(place.x_mm, place.y_mm, side)


def _view(x_mm: float, y_mm: float, side: Side) -> tuple[float, float]:
    x, y = disc_to_view_mm(x_mm, y_mm, side)
    return float(x), float(y)
