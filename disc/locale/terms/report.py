"""What is said in the condition report: how it was made, pictures, cautions."""

from __future__ import annotations

from disc.locale.catalogue import mark

REPORT: tuple[str, ...] = (
    mark("{way}, seen on the upper side"),
    mark("{a} (assumed)"),
    mark("not known"),
    mark("Pins and holes as seen on the photographs"),
    mark("Pins and holes as laid out, not yet seen"),
    mark("{a}, with {n} correction by hand"),
    mark("{a}, with {n} corrections by hand"),
    mark(
        "{face}, with what was read; circle: sound, diamond: bent, square: stub, cross: missing; the "
        "number is the tooth's"
    ),
    mark("Both faces as if looking through the plate from the upper side, stop slot up"),
    mark("The disc as designed"),
    mark(
        "Places of pins: from photographs, scaled by the diameter given; one standard deviation of a root"
        " along each axis is {a} mm (median), {b} mm at most"
    ),
    mark("Sites seen with less than 90 % confidence: {what}"),
    mark("pins {list}"),
    mark(
        "Pins to teeth: by face and radius; pins lie {um} µm off their track (r.m.s.); comb and disc "
        "differ by {p} % and {mm} mm"
    ),
    mark("Corrected by hand: {n} changes, kept in corrections.json beside the reading"),
    mark("Corrected by hand: {n} change, kept in corrections.json beside the reading"),
    mark(
        "Metre and key: read from the strikes; {metre} ({what}), {key} ({how}); a strike stands "
        "{ms} ms from its written place (one standard deviation)"
    ),
    mark("Metre and key: read from the strikes; {metre} ({what}), {key} ({how})"),
    mark("Pitches of the teeth: plucked one by one, recording {file}"),
    mark(
        "A recorded turn ({file}): one turn takes {s} s; strikes silent: {a}, sounds without a pin: {b}, "
        "early or late: {c}, weak each time: {d}"
    ),
    mark("A draft made from the disc's tracks: the comb itself was not measured"),
    mark("Cents are counted from equal temperament at A4 = 440 Hz (ISO 16)"),
    mark("{n} notes, {metre}, {key} ({signature}), a quarter lasts {s} s"),
    mark("{n} note, {metre}, {key} ({signature}), a quarter lasts {s} s"),
    mark("no sharps or flats"),
    mark("{n} sharps"),
    mark("{n} sharp"),
    mark("{n} flats"),
    mark("{n} flat"),
    mark("{note} major"),
    mark("{note} minor"),
    mark("Read from the disc's strikes"),
    mark("As laid out on the disc"),
    mark("The tune as written"),
    mark("{a}, page {n}"),
    mark("The tune as arranged; blue: another octave, orange: nearest pitch, red: left out"),
    mark("Each picture shows {mm} mm of the disc, the place in its middle"),
    mark("Nothing was found that needs a hand"),
    mark("No work on pins is proposed"),
    mark("Nothing differs from {name}"),
    mark("Compared with the earlier reading {name}"),
    mark("step {n}"),
    mark(
        "Let the mainsprings down before the fly, the endless screw or any wheel of the music train is "
        "freed: a train that runs away strips pins and teeth and can injure"
    ),
    mark("Wear eye protection when drilling, pulling or cutting pins"),
    mark("Teeth may carry lead: make no sanding dust, and wash your hands"),
    mark("Old gilding may hold mercury: no heat, no abrasive"),
    mark("Keep solvents away from flame"),
    mark(
        "An antique may be worth more untouched: record first, prefer what can be undone, and leave to a "
        "qualified conservator what you have not done before; local rules on hazardous substances and on "
        "cultural property come first"
    ),
    mark("stop slot"),
    mark("Seen through the plate from the upper side. Full: upper, hollow: lower"),
    mark("Bent pins carry their lean, three times as long or more"),
    mark("look again"),
    mark("hatched: not seen"),
)
