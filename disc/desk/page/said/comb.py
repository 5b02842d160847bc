"""What the page says in the panel of the comb."""

from __future__ import annotations

from disc.locale.catalogue import mark

COMB: tuple[str, ...] = (
    mark("The table"),
    mark(
        "There is no comb yet, so no pin has a tooth and nothing sounds. Pluck its teeth into a "
        "recording, give its table or write it here, or mark its tips on a photograph. With none at hand "
        "a draft from the tracks of the pins shows where teeth must be; it does not know their pitches."
    ),
    mark("A draft made from the pins alone: tip angles are not measured."),
    mark("Tips on a photograph"),
    mark("A photograph of the comb in place, taken squarely over the disc, with the disc at rest."),
    mark("Photograph"),
    mark("It looks at the side"),
    mark("Mark"),
    mark("Take back the last mark"),
    mark("Mark all again"),
    mark("Make this the comb"),
    mark("{n} tips marked."),
    mark("{n} tip marked."),
    mark("The comb now has {n} teeth; {other} tips are as marked."),
    mark("Mark the arbor's centre."),
    mark(
        "Mark the middle of the stop slot, with the disc at rest; if it is not seen, any point on the "
        "line from the centre towards it."
    ),
    mark("Mark one end of a known length (the rim, a ruler)."),
    mark("Mark the other end of the known length."),
    mark("Mark the tip of every tooth."),
    mark("Another comb"),
    mark("Give the comb"),
    mark(
        "A table of number, side, tip_r_mm, tip_theta_deg, pitch, as a spreadsheet saves it; or a "
        "recording of the teeth plucked one after another; in which order, you say afterwards."
    ),
    mark("One tooth alone, number"),
    mark("Number of the tooth plucked alone"),
    mark("Its recording …"),
    mark("Tooth {n}, alone: {words}."),
    mark("Table (CSV) …"),
    mark("Plucked recording …"),
    mark("each plucked"),
    mark("times"),
    mark("Draft from the pins"),
    mark("No."),
    mark("Side"),
    mark("Tip, mm"),
    mark("Tip, °"),
    mark("Pitch"),
    mark("Hear, leave out"),
    mark("Nothing in the table was changed."),
    mark("The comb's table is kept: {n} teeth."),
    mark(
        "Pitches as you have them: A4, A4-14 (cents), 440 Hz, 69. A dead, broken or missing tooth stays "
        "here without a pitch."
    ),
    mark("Table of the comb"),
    mark("Keep the table"),
    mark("One tooth more"),
    mark("new tooth {n}"),
    mark("Hear tooth {n}"),
    mark("Leave out tooth {n}"),
    mark("Hear"),
    mark("{name}: a comb of {n} teeth."),
    mark("A draft comb of {n} teeth, from the tracks of the pins; its pitches are not known."),
    mark("choose …"),
    mark("by the numbers of the table"),
    mark("from the arbor outwards"),
    mark("from the rim inwards"),
    mark("Which tooth the {n}. pluck was"),
    mark("Plucked"),
    mark("Heard"),
    mark("Which tooth"),
    mark("Keep these pitches"),
    mark("Forget them"),
    mark("Say in which order the teeth were plucked, or which tooth each was."),
    mark("{n} teeth have the pitches of {name}."),
    mark("Heard in {name}"),
    mark("They differ: listen to each, and move what follows a missed pluck by one."),
    mark("pitch"),
    mark("side"),
    mark("tip theta deg"),
)
