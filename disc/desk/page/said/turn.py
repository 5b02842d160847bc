"""What the page says at the unrolled turn: playing, listening, recordings."""

from __future__ import annotations

from disc.locale.catalogue import mark

TURN: tuple[str, ...] = (
    mark("The turn unrolled"),
    mark("The turn unrolled: time across, teeth up"),
    mark(
        "Left and right go from strike to strike, up and down from tooth to tooth, plus and minus zoom, "
        "space plays, Enter plays the tooth."
    ),
    mark("Play"),
    mark("Pause"),
    mark("as it plays now"),
    mark("as it should play"),
    mark("Compare with the pins"),
    mark("How …"),
    mark("How it is played"),
    mark("How loud each tooth is"),
    mark("Speed"),
    mark("full"),
    mark("Loop"),
    mark("Beats"),
    mark("this bar"),
    mark("a bar"),
    mark("the start"),
    mark("Tooth"),
    mark("Now, repaired, print"),
    mark("As it plays now, as it should, or as printed, at the same place (S)"),
    mark("as printed: {name}"),
    mark("As printed: {name}."),
    mark("{n} notes are left out, since the comb has no tooth for them."),
    mark("{n} note is left out, since the comb has no tooth for them."),
    mark("the print cannot be laid over a disc that plays nothing of known pitch."),
    mark("{name}: this tune does not lie on the disc as its pins are now."),
    mark("No printed tune was said to be this disc's: check against a score (tab Findings)."),
    mark("Hollow lozenge: printed, but no pin plays it."),
    mark("As it plays now."),
    mark("As it should play, repaired."),
    mark("Tooth whose loudness is set"),
    mark("Loudness of this tooth"),
    mark("Recording …"),
    mark("Take this recording out"),
    mark("Zoom of the turn"),
    mark("Show more of the turn"),
    mark("Show less of the turn, larger"),
    mark("{s} s of {other} s"),
    mark("Nothing sounds yet."),
    mark("Give it at Comb."),
    mark("No recorded turn was compared with the pins yet."),
    mark("as recorded, on the pins: {name}"),
    mark("recording {name}"),
    mark(
        "Not compared yet: the line shows the recording's own time. “Compare with the pins” finds silent "
        "and extra strikes."
    ),
    mark("{name} now belongs to the job. “Compare with the pins” finds silent and extra strikes."),
    mark("One turn takes {s} s; silent strikes: {n}, extra sounds: {other}."),
    mark("Filled: sounds."),
    mark("Filled: heard."),
    mark("Ring with a cross: silent, its pin is missing or broken, or its tooth gives no tone."),
    mark("Ring with a cross: not heard, or its pin is missing."),
    mark("Upright cross: heard, but no pin is there."),
    mark("“?”: in doubt."),
)
