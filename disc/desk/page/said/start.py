"""What the page says where a job is started."""

from __future__ import annotations

from disc.locale.catalogue import mark

START: tuple[str, ...] = (
    mark("Start a job"),
    mark(
        "Two photographs of the disc, one of each side, from above with a tilt of 10 to 15 degrees, so "
        "that the pins show their length, with even light and the whole rim in the picture."
    ),
    mark("towards you when the stop cam or the arbor's square is up"),
    mark("the disc turned over"),
    mark("Drop a photograph here or choose one."),
    mark("Size"),
    mark("Diameter, mm"),
    mark("Measure it on a photograph"),
    mark("Mark the first end of a known length."),
    mark("Mark the first end of a known length (a ruler beside the disc)."),
    mark("Mark the second end of the known length."),
    mark("Mark the rim of the disc."),
    mark("Mark the rim straight opposite, across the centre."),
    mark("Give the known length; the diameter follows."),
    mark("Photograph to measure on. Arrow keys move the cross, Enter sets a mark, plus and minus zoom."),
    mark("Known length, mm"),
    mark("Mark again"),
    mark("Movement"),
    mark("Turning, seen on the upper side"),
    mark("not known yet"),
    mark("Seconds a turn"),
    mark("Rest arc, degrees"),
    mark("Rest arc, °"),
    mark(
        "The rest arc is the part of the turn that passes the teeth while the movement runs up and "
        "stops. What you do not know yet can stay empty: the usual value is assumed, the page says so, "
        "and all of it can be given later."
    ),
    mark("Start and read the photographs"),
    mark("Bring a photograph of each side."),
    mark("Reading the photographs …"),
    mark("Bringing {name} …"),
    mark("{name}, {n} × {other} pixels"),
    mark("The photograph of the upper side"),
    mark("The photograph of the lower side"),
    mark("The diameter measures {mm} mm."),
)
