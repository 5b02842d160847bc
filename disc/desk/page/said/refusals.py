"""What the page says where it refuses: of what a person asked, of files brought, of a place that cannot be written."""

from __future__ import annotations

from disc.locale.catalogue import mark

REFUSALS: tuple[str, ...] = (
    mark("{name}: the photo cannot be read ({words})."),
    mark("there is no pin {n} any more; somebody may have removed it."),
    mark("the change names nothing to change."),
    mark("the note is empty. Write something, or leave it."),
    mark("no pin is selected. Pick one first."),
    mark("the note has {n} letters; at most {q} are kept."),
    mark("the place is not on a picture of this desk."),
    mark("{what} is {name}, not a number."),
    mark("the comb has no tooth {n}."),
    mark("there is no step {n}; the history has {q}."),
    mark("There is no job here yet."),
    mark("There is no job here yet. Start one first."),
    mark("{name}: the copy kept for undo is gone from the job. Bring the file again."),
    mark("{name}: the photograph is gone from the job. Copy it back from a backup."),
    mark("There are no bars yet: the tune has not been read."),
    mark("There are no notes yet: the tune has not been read."),
    mark("say in which bar: its number, as the unrolled turn counts them."),
    mark("that is no longer said of a bar."),
    mark("two teeth have the number {n}. Give one of them another."),
    mark("a comb has at most {n} teeth."),
    mark("{name}: tooth {n} is not heard in it. Pluck it again, closer to the recorder."),
    mark("{name}: no ringing tooth is heard in it. Record closer to the comb, in quiet."),
    mark(
        "{name}: this is no comb plucked tooth by tooth: the same pitches come back far apart. Pluck each "
        "tooth {words}, one after the other; a recorded turn is added below the picture."
    ),
    mark("no tooth is said yet."),
    mark("each tooth is plucked 1 to 5 times, not {n}."),
    mark("the number of plucks {name} is not a whole number."),
    mark("{name}: {words} is empty. A tooth needs a number, a side and its tip's distance."),
    mark("tooth {n}: its tip at {mm} mm lies outside the plate (radius {q} mm). Correct it, or the disc's diameter."),
    mark("tooth {n} is said twice. Each pitch that was heard belongs to one tooth."),
    mark("the two ends of the known length lie too close together on the picture. Mark a longer one."),
    mark("give the known length in millimetres."),
    mark("the mark of the stop slot lies on the centre. Mark it near the rim."),
    mark("no tip is marked yet."),
    mark("a tip lies {mm} mm from the centre, outside the plate ({q} mm). Check the known length."),
    mark("the marks are not complete: centre, stop slot, two ends of a known length, its millimetres, and the tips."),
    mark("no earlier job was given. Open the desk with: {command}"),
    mark("that finding is no longer there; the disc was checked anew. Look at the list again."),
    mark("say in a few words why this finding is not so; the report keeps the reason."),
    mark("that recording does not belong to the job."),
    mark("that recording does not belong to the job. Bring it again."),
    mark("{n} points of the rim are too few: mark {q} or more, all around."),
    mark("1 point of the rim is too few: mark {q} or more, all around."),
    mark("a known length has two ends that lie apart: mark both."),
    mark("the known length: {mm} mm; it must be {q} to {b} mm."),
    mark("an outline of what is not seen has three corners or more."),
    mark("{n} points are too many; {q} are enough."),
    mark("a mark lies outside the photograph."),
    mark("say of which pins: their numbers, as the list has them."),
    mark("bring a photograph of each side first."),
    mark("the number of beats {name} cannot be read. Write a whole number, such as 64."),
    mark("there is no tooth {n} in the comb."),
    mark("turning is {name}; it must be clockwise or counterclockwise."),
    mark("{name}: a {words} must end in one of {words2}."),
    mark("{name}: the file is empty."),
    mark("that file is no longer here. Bring it again."),
    mark("only {n} strikes with a known pitch: too few to read a tune from."),
    mark("only 1 strike with a known pitch: too few to read a tune from."),
    mark("Check the pins (disc read) and the comb's pitches (disc comb)."),
    mark("no beat fits what was set by hand. Leave out {words} and run it again."),
    mark("the length {name} cannot be read. Write it as a part of a whole note: 1/8 or 3/16, or 0."),
    mark("the key {name} cannot be read. Write it as D, Bb, F# minor or E dorian."),
    mark("the key {name} would need {n} signs. Write it by its other name."),
    mark("{n} beats are too few for a turn. Count from the first note to the end of the last bar."),
    mark("1 beat is too few for a turn. Count from the first note to the end of the last bar."),
    mark("{name}: no tooth has a pitch yet. Run: {command}"),
    mark("{name}: no pin has a tooth yet. Run: {command}"),
    mark("{name}: the recording is empty (no bytes). Copy it from the phone again."),
    mark("{name}: the recording holds no sound. Copy it from the phone again."),
    mark("{name}: {n} samples a second are too few to hear teeth. Record at 16000 or more."),
    mark("{name}: the recording lasts only {s} s. Record the whole comb or the whole turn."),
    mark("{name}: the recording lasts {n} minutes; cut it to half an hour at most."),
    mark("{name}: the recording is silent. Check the microphone and record again."),
    mark("{name}: there is no sound in this file."),
    mark(
        "{name}: not a sound file that can be read (WAV, FLAC, OGG, MP3 or M4A), or it is damaged. Save or "
        "convert it again."
    ),
    mark("{name}: the recording is too long; cut it to half an hour at most."),
    mark("too few of the expected strikes are heard to follow the disc. Record closer, in quiet."),
    mark(
        "only {n} strikes have a tooth with a known pitch; at least {q} are needed. Give the comb's pitches"
        " first ({words})."
    ),
    mark(
        "only 1 strike has a tooth with a known pitch; at least {q} are needed. Give the comb's pitches "
        "first ({words})."
    ),
    mark(
        "this recording does not follow the pins (fit {n}, needed {q}). Is it a turn of this disc, and are "
        "the comb's pitches right?"
    ),
    mark("the recording is too short to lay the strikes along it. Record a whole turn."),
    mark("{name}: another command is working on this job. Wait until it has ended, then run this again."),
    mark("{name}: no permission to write there. Choose another folder or change its rights."),
    mark("{name}: the disk is full. Make room and run the command again."),
    mark("{name}: this place can only be read. Copy the job to a folder of your own."),
    mark(
        "{name}: {n} x {q} pixels are {b} megapixels, more than the {c} this program reads. Scale the "
        "picture down and run the command again."
    ),
    mark(
        "{name}: {n} x {q} pixels are too few to show a pin. Take a photo that the disc fills, at the "
        "camera's full size."
    ),
    mark("{name}: the file is empty. Copy the photo from the camera again."),
    mark("{name}: {n} MB are too much for one photo. Save it as a JPEG."),
    mark("{name}: this is not a photo that can be opened. Use JPEG, PNG, TIFF or HEIC."),
    mark("{name}: the photo is damaged ({words}). Copy it from the camera again."),
    mark("{name}: the photo breaks off or is damaged ({words}). Copy it from the camera again."),
    mark(
        "{name}: the disc is cut off at the frame's edge (about {p} % of its width). Take the photo again "
        "with the whole disc and a little of the ground around it."
    ),
    mark("{name}: a scan at {n} dpi is too coarse to tell pins. Scan at 1200 dpi."),
    mark("the papers are written in {words}, not in {name}."),
)
