"""What is said of the tune: what the library found, and keys."""

from __future__ import annotations

from disc.locale.catalogue import mark

TUNE: tuple[str, ...] = (
    mark("Looked up in the library, it is “{title}” (probability {chance}): bars {n} to {q} of the print, {key}"),
    mark("at the print's pitch"),
    mark("{n} semitones higher"),
    mark("{n} semitone higher"),
    mark("{n} semitones lower"),
    mark("{n} semitone lower"),
    mark("strikes that agree: {n}"),
    mark("strikes that agree: not known"),
    mark("notes of the print that are absent: {n}, displaced: {q}"),
    mark("strikes that are not in the print: {n}"),
    mark("Disc and print differ in {n} bars"),
    mark("Disc and print differ in bar {n} of the print"),
    mark("Disc and print differ in bars {n} of the print"),
    mark("Several tunes, one after another: {first}"),
    mark("{n} to {p} of the playing time, “{title}” (probability {chance})"),
    mark("{note} dorian"),
    mark("{note} phrygian"),
    mark("{note} lydian"),
    mark("{note} mixolydian"),
    mark("{note} locrian"),
)
