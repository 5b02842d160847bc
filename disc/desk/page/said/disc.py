"""What the page says in the panels of the disc (photographs, plate, marks) and of the history."""

from __future__ import annotations

from disc.locale.catalogue import mark

DISC: tuple[str, ...] = (
    mark("The plate"),
    mark("Thickness, mm"),
    mark("Bore, mm"),
    mark("{n} assumed"),
    mark("clockwise assumed"),
    mark("counterclockwise assumed"),
    mark("Photographs"),
    mark(
        "Read again with what was marked, or bring better photographs first. Corrections are laid over the new reading."
    ),
    mark("Read the photographs"),
    mark("One more of the upper side"),
    mark("One more of the lower side"),
    mark("Photograph this side again, the camera tilted by 10 to 15 degrees, and give both (tab Disc)"),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's upper edge, let it "
        "now stand towards the lower one), and give both (tab Disc)"
    ),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's lower edge, let it "
        "now stand towards the upper one), and give both (tab Disc)"
    ),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's left edge, let it "
        "now stand towards the right one), and give both (tab Disc)"
    ),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's right edge, let it "
        "now stand towards the left one), and give both (tab Disc)"
    ),
    mark(
        "Take another photograph of this face with that part free and the whole rim in the frame, and give both "
        "(tab Disc)"
    ),
    mark("Close-ups of the upper side"),
    mark("Close-ups of the lower side"),
    mark("{n} pins and holes were read."),
    mark("{n} pin or hole was read."),
    mark("{n} earlier correction no longer fits a pin."),
    mark("{n} earlier corrections no longer fit a pin."),
    mark("Marks on the photographs"),
    mark("Marks are set on a photograph; this job has none."),
    mark(
        "Every pin's place follows from slot and centre. Rim and length help the next reading of the "
        "photograph. What is not seen counts at once."
    ),
    mark("Mark the stop slot"),
    mark("Mark the centre"),
    mark("Mark the rim"),
    mark("Mark a known length"),
    mark("Mark what is not seen"),
    mark("Forget the rim's points"),
    mark("Forget the known length"),
    mark("Forget what is not seen"),
    mark("Set the cross on the middle of the stop slot and press Enter, or point at it."),
    mark("Set the cross on the arbor's centre and press Enter, or point at it."),
    mark("Mark five points of the rim or more, all around; then press Keep."),
    mark("Mark both ends of a known length, write how long it is, and press Keep."),
    mark("Mark the corners around what is not seen; then press Keep."),
    mark("Length, mm"),
    mark("Keep"),
    mark("Take the last one back"),
    mark("Leave it"),
    mark("Steps"),
    mark("Choose a step to go back or forward to it. The beginning is the disc as it was read."),
    mark("An earlier reading"),
    mark("Compare with"),
    mark("Lay side by side"),
    mark("{n} places differ from the reading {words}:"),
    mark("{n} place differs from the reading {words}:"),
    mark("Nothing differs from the reading {words}."),
    mark("the first reading"),
    mark("as first read"),
    mark("before any correction"),
    mark("from above"),
)
