"""What is said of what is not known: doubts with their advice, and what is stale."""

from __future__ import annotations

from disc.locale.catalogue import mark

DOUBTS: tuple[str, ...] = (
    mark(
        "While this is open, do not rely on the percentages below: they were tried on whole discs whose facts were "
        "given rightly"
    ),
    mark("{value} (never said, assumed)"),
    mark("not photographed"),
    mark("measure it"),
    mark("hardly in doubt"),
    mark("likely"),
    mark("sooner so than not"),
    mark("Nothing is pulled, drilled or cut before this is settled: {doubt}"),
    mark("which way the disc turns was never said; {value} is assumed"),
    mark("Both ways are possible: see on which side of the pins the teeth wear them, then {command}"),
    mark("the time of one turn was never said; {s} s is assumed, and every tempo rests on it"),
    mark("Time one turn, or record it: {command}"),
    mark("the rest arc was never said; {deg} degrees are assumed"),
    mark("Read the widest gap without pins off the photographs: {command}"),
    mark("the comb is a draft made from the pins alone: one tooth a track, no pitch and no tip measured"),
    mark("Give its table {command} or a recording {other_command}"),
    mark("the upper face was not photographed: none of its pins is known, and none is missing"),
    mark("the lower face was not photographed: none of its pins is known, and none is missing"),
    mark("Run: {command}"),
    mark("no pins yet"),
    mark("the job file is damaged ({what})"),
    mark("the job file is damaged: {what}"),
    mark("Restore it from a backup"),
    mark("made by a newer version of this program (schema {n}, this one knows {other})"),
    mark("Update the program"),
    mark("the file is empty"),
    mark("the photo is damaged ({what})"),
    mark("the photo breaks off or is damaged ({what})"),
    mark("Copy it from the camera again"),
    mark("Copy the photo from the camera again"),
    mark("this is not a photo that can be opened"),
    mark("Use JPEG, PNG, TIFF or HEIC"),
    mark("the disc is cut off at the frame's edge (about {p} of its width)"),
    mark("Take the photo again with the whole disc and a little of the ground around it"),
    mark("the work on this disc killed its worker each time (too little memory?)"),
    mark("the photograph {name} was set aside, and the {side} face read from the others: {reason}"),
    mark("the photograph of the {side} face is blurred: an edge on it is some {n} px wide"),
    mark("the photograph of the {side} face is blurred: the rim's edge is {mm} mm wide"),
    mark("about {p} % of the {side} face is out of focus"),
    mark("{p} % of the {side} face is white with glare; nothing is told there"),
    mark("Turn the disc or the lamp, or light it through white paper, and give both photographs"),
    mark("Focus on the face, rest the camera, use more light or the self-timer; then: {command}"),
    mark("of the {side} face {words}; no pin there is called missing"),
    mark("{p} % is covered"),
    mark("{p} % is out of the frame"),
    mark("{p} % is in glare"),
    mark(
        "Take another photograph of this face with that part free and the whole rim in the frame, and "
        "give both: {command}"
    ),
    mark("{what} rest on what has changed since: {words}"),
    mark("{what} rests on what has changed since: {words}"),
    mark("the findings"),
    mark("the work list"),
    mark("the tune"),
    mark("the library's answer"),
    mark("what was heard in the recording"),
    mark("the plan"),
    mark("the last offer"),
    mark("the drilling programs"),
    mark("the report"),
    mark("the pins"),
    mark("the comb"),
    mark("the recording heard"),
    mark("the decisions"),
    mark("what was set of the music"),
    mark("the accepted tune"),
    mark("{what} was {value}, is {other_value}"),
    mark("not given"),
    mark("diameter (mm)"),
    mark("thickness (mm)"),
    mark("bore (mm)"),
    mark("slot width (mm)"),
    mark("slot depth (mm)"),
    mark("rest arc (deg)"),
    mark("revolution (s)"),
    mark("Stale: this part rests on what has changed since it was made; see the first part"),
    mark("Make it anew: {command}"),
    mark("Make them anew: {command}"),
    mark("the pitches of {n} teeth are a guess from their order and what the disc plays"),
    mark("the pitches of {n} tooth are a guess from their order and what the disc plays"),
    mark("Measure them: {command}, or fill in the column pitch (disc comb --table)"),
    mark("Measure it: {command}, or fill in the column pitch (disc comb --table)"),
    mark("the music hangs together better if the disc turns {way}"),
    mark("the music and the lean of the bent pins fit better if the disc turns {way}"),
    mark("See on which side of the pins the teeth wear them; then {command}"),
    mark(
        "the stop slot of the {face} face is likelier at {deg} degrees than where it was read, by "
        "photograph, beat and rest arc together"
    ),
    mark("Look there on the photograph; if it is the slot: {command}"),
    mark(
        "the stop slot of the {face} face is not plain to see; beat and rest arc speak for the place that "
        "was read, the next likely one lies at {deg} degrees: all angles of the face count from it"
    ),
    mark("Check on the overlay that the arrow points to the slot; if not: {command}"),
    mark("the pins of each face lie on the other face's tracks: upper and lower photograph are swapped"),
    mark("Read them the other way round: {command}"),
    mark("the pins fit the comb if the disc is {mm} mm across, not {d} mm"),
    mark("the pins fit the comb if the disc is {mm} mm across, not {d} mm with upper and lower swapped"),
    mark("Measure it again; then {command}"),
    mark("the {face} face lies on the comb's tracks, the {other_face} face does not: two different discs?"),
    mark("Look at the photograph of the {face} side; read it again with disc read"),
    mark("the pins lie on no tracks of this comb, at no scale and whichever face is upper: it is another disc's comb"),
    mark("Give this disc's comb {command}, or a draft (--from-pins)"),
    mark("the stop slot of the {face} face seems to be marked at the wrong place: {words}"),
    mark("the stop slot of both faces seems to be marked at the wrong place: {words}"),
    mark("{n} pins would sound within the rest arc"),
    mark("{n} pin would sound within the rest arc"),
    mark("the two faces keep no common beat"),
    mark("the two faces would make a likelier melody turned by {deg} degrees"),
    mark("Look at the overlay; mark the slot: {command} (pixels), or at the desk"),
    mark("the measuring sheet in {name} was not used: {reason}"),
    mark("Lay it flat and read a new photograph of that side: {command}"),
    mark("by the measuring sheet in {name} the face lies {mm} mm over the paper, which cannot be"),
    mark("Measure the sheet's bar (--bar-mm) and the disc again; then {command}"),
    mark("the close-up {name} was not used: its place on the face is doubtful ({reason})"),
    mark("Take in five pins at least: {command}"),
    mark(
        "the {face} face's pins are seen from straight above and show nothing of their length: stubs, empty holes and "
        "leaning pins are hard to tell there from sound ones"
    ),
    mark("Photograph this side again, the camera tilted by 10 to 15 degrees, and give both: {command}"),
    mark("{n} pins of the {face} face may be whole, broken or gone: it was photographed from one side only"),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's upper edge, let it "
        "now stand towards the lower one), and give both: {command}"
    ),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's lower edge, let it "
        "now stand towards the upper one), and give both: {command}"
    ),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's left edge, let it "
        "now stand towards the right one), and give both: {command}"
    ),
    mark(
        "Photograph this side again, tilted the other way (the camera stood towards the picture's right edge, let it "
        "now stand towards the left one), and give both: {command}"
    ),
    mark(
        "the photograph {name} was left out: only {p} % of the {face} face's sites in it lie where "
        "{other_name} has them, however it is turned"
    ),
    mark(
        "If it shows this face, name its rim with {command} and read again; if it shows another face or "
        "another disc, leave it out"
    ),
    mark("the photographs of the upper and of the lower face show one and the same face"),
    mark("Photograph the other face, and read it: {command}"),
    mark("{name}: this tune does not lie on the disc; the check was made without it"),
    mark("Look whether it is the right file, then check again; disc identify JOB names the tunes that do lie on it"),
    mark("the library's {title} was found and not used, since nobody has said it is this disc's"),
    mark("If it is: {command}, then check again"),
    mark("{title} lies on the disc if it turns {way}, and no tune does as it is said to turn"),
    mark(
        "teeth {list} and {n} have no pitch of their own; one between the neighbours' is assumed, and the "
        "notes are marked"
    ),
    mark("tooth {n} gives no tone as it is; its notes ({q}) are written small, with a cross, and not played"),
    mark("teeth {list} give no tone as they are; their notes ({q}) are written small, with a cross, and not played"),
    mark("The disc plays rests there until the comb is mended: no new pin helps"),
    mark("tooth {n} has no pitch of its own; one between the neighbours' is assumed, and the notes are marked"),
    mark("tooth {n}: only {p} of its {q} plucks is heard; {words}"),
    mark("tooth {n}: none of its {q} plucks is heard; {words}"),
    mark("{n} pins would sound within the rest arc and {other_words}"),
    mark("{n} pin would sound within the rest arc and {other_words}"),
    mark("the two faces keep no common beat and {other_words}"),
    mark("Results in this report that are older than what they rest on:"),
    mark("stop slots {mm} and {other} mm wide"),
    mark("both rims plain"),
    mark("one rim cut with {n} teeth, the other plain"),
    mark("rims cut with {n} and {q} teeth"),
    mark("the plates' colours differ by {n} (CIE a*b*)"),
    mark("{n} sites of the two faces meet, {q} would by chance"),
    mark("{n} site of the two faces meets, {q} would by chance"),
    mark("the upper and the lower face may be two different discs: {what}"),
    mark("Look whether both photographs show this disc, and read the right one again: {command}"),
    mark(
        "the stop slot of the {face} face was marked where the photograph shows none: it shows one at {deg} "
        "degrees from there"
    ),
    mark("Look at the overlay; to have it found: {command}"),
    mark("no notch is seen where the stop slot of the {face} face was marked: all angles count from it"),
    mark("Look at the overlay; mark the slot's middle again: {command}"),
    mark("the stop slot of the {face} face is not plain to see: all angles of the face count from it"),
    mark(
        "the stop slot of the {face} face is not plain to see; the next likely place lies at {deg} degrees: "
        "all angles of the face count from it"
    ),
    mark("Check on the overlay that the arrow points to the slot, or mark it: {command}, or at the desk"),
)
