"""What `disc design` says of a planned disc: what is on it, what was changed and why, how sure it is the best."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from disc.words import counted, say, say_cautions

TEMPO_HEARD = 0.02  # a change of tempo below this nobody hears; common practice, no source
# Unless said otherwise: chosen by hand, not measured.
USED_WELL = 0.6  # of the turn; below it the silence at the end is worth a word


def say_two(folder: Path, diameter_mm: float, found: dict[str, Any]) -> None:
    """Of a disc with two tunes: the disc, then each of them."""
    kept = found["notes"] - found["notes_by_change"]["left out"]
    say(
        f"{found['title']}: {counted(found['pins'], 'pin')} on a disc of {diameter_mm:g} mm, one turn in "
        f"{found['revolution_s']:.1f} s. {kept} of {found['notes']} notes are on it; "
        f"melody {found['melody_kept']} of {found['melody']}.",
        _proof_of_two(found),
    )
    for tune in found["tunes"]:
        kept = tune["notes"] - tune["notes_by_change"]["left out"]
        say(
            "",
            f"{tune['title']}: in {tune['key']}. {kept} of {tune['notes']} notes are on the disc; "
            f"melody {tune['melody_kept']} of {tune['melody']}.",
        )
        _say_tune(tune)
        if tune["other_transpositions"]:
            say("Other keys, and what each would lose:")
            say(*(_other(other) for other in tune["other_transpositions"]))
    say("", *_damping(found["damping"]), *_loudness(found["loudness"]))
    _say_end(folder, found)


def _proof_of_two(found: dict[str, Any]) -> str:
    if found["proven_optimal"]:
        weights = _weights(found["tunes"][0]["prefer"])
        return f"Of all keys and tempi tried, no pair is worth more by the weights (proven): {weights}."
    return f"At most {found['gap']:.1%} more could be kept of both, by the weights of melody and bass."


def _say_tune(found: dict[str, Any]) -> None:
    """Of one tune: its part, its tempo, what was changed, what the reader left out."""
    if found["melody_part"]:
        say(f"The tune is taken from part {found['melody_part']}; another: --melody PART.")
    say(*_tempo(found))
    changed = [f"{count} {what}" for what, count in found["notes_by_change"].items() if count and what != "as written"]
    reasons = [f"{count} for {what}" for what, count in found["left_out_because"].items()]
    if changed:
        say(f"Changed: {', '.join(changed)}{' (' + ', '.join(reasons) + ')' if reasons else ''}.")
    say(*(f"Note: {remark}." for remark in found["remarks"]))


def _say_end(folder: Path, found: dict[str, Any]) -> None:
    """What closes the words of every design."""
    say(*(f"Note: {remark}." for remark in found["teeth_left_out"]))
    say("", f"Written in {folder / 'out'}: disc.png, preview.wav, marked-score.pdf, tune.mid, design.json")
    say_cautions("eyes", "untouched")
    say("", f"Next: disc repin {folder}")


def say_result(folder: Path, diameter_mm: float, found: dict[str, Any]) -> None:
    """Of a disc with one tune. found: as disc/design/summary.py makes it."""
    kept = found["notes"] - found["notes_by_change"]["left out"]
    say(
        f"{found['title']}: {counted(found['pins'], 'pin')} on a disc of {diameter_mm:g} mm, one turn in "
        f"{found['revolution_s']:.1f} s, at {found['tempo_against_written']:.2f} times the tempo "
        f"{'written' if found['tempo_was_given'] else 'usual (the file gives none)'}.",
        f"In {found['key']}. {kept} of {found['notes']} notes are on it; "
        f"melody {found['melody_kept']} of {found['melody']}.",
        _proof(found),
    )
    if found.get("kept_first"):
        first = found["kept_first"]
        say(f"Before all others bars {first['bars']}: {first['kept']} of their {first['notes']} notes are on it.")
    _say_tune(found)
    say(*_damping(found.get("damping")), *_loudness(found.get("loudness")))
    if found["turn_used"] < USED_WELL:
        say(
            f"The tune sounds for {found['turn_used']:.0%} of the turn only; --times plays it again, a shorter "
            "--revolution-s turns faster."
        )
    if found["new_pins"] != found["pins"]:
        say(
            f"{counted(found['pins'] - found['new_pins'], 'old pin stays', 'old pins stay')}; "
            f"{counted(found['new_pins'], 'is set', 'are set')}, "
            f"{found['in_old_holes']} of them in old holes."
        )
    if found["old_pins_without_a_note"]:
        say(f"Old pins the tune has no note for: {', '.join(map(str, found['old_pins_without_a_note']))}.")
    if found.get("alternatives"):
        say("", "To compare, in other keys:")
        for other in found["alternatives"]:
            say(f"  {other['says']} {_moved(other)}: {', '.join(other['files'])}")
    if found["other_transpositions"]:
        say("", "Other keys, and what each would lose:")
        say(*(_other(other) for other in found["other_transpositions"]))
    _say_end(folder, found)


def _proof(found: dict[str, Any]) -> str:
    left_out = found["notes_by_change"]["left out"]
    if found["proven_optimal"]:
        words = (
            f"Of all keys and tempi tried, none is worth more by the weights (proven): {_weights(found.get('prefer'))}."
        )
    else:
        words = f"The time ran out: at most {found['gap']:.1%} more could be kept, by the weights of melody and bass."
    fuller = [other for other in found["other_transpositions"] if other["lost"] < left_out]
    if fuller:
        best = min(fuller, key=lambda other: other["lost"])
        words += (
            f" {left_out - best['lost']} notes more are kept in {best['key']} (--transpose {best['transposition']}), "
            f"{_but(best, found)}."
        )
    return words


def _but(other: dict[str, Any], found: dict[str, Any]) -> str:
    """What another key costs of the melody, and how many of its notes stand an octave away."""
    melody = f"melody {other['melody_kept']} of {other['melody']}"
    if other["melody_kept"] < found["melody_kept"]:
        return f"but {melody} and {other['folded']} notes an octave away"
    return f"with {melody}, but {other['folded']} notes an octave away"


def _weights(prefer: str | None) -> str:
    """What the weights say, in words: those of disc/design/arrange/weights.py."""
    return {
        None: "a melody note counts as three of the bass or eight inner ones, an octave away for less",
        "melody": "a melody note counts as seven of the bass or sixteen inner ones, a broken line costs double",
        "harmony": "a melody note counts as two of the bass or two and a half inner ones",
        "bass": "three melody notes count as five of the bass",
        "range": "a note an octave away counts little more than none",
    }[prefer]


def _tempo(found: dict[str, Any]) -> list[str]:
    """That the tempo was changed, and why; nothing where it was not."""
    ratio = found["tempo_against_written"]
    if abs(ratio - 1.0) < TEMPO_HEARD:
        return []
    way = "faster" if ratio > 1 else "slower"
    return [f"It goes {abs(ratio - 1):.0%} {way} than {_tempo_asked(found)}, because {found['tempo_because']}."]


def _damping(found: dict[str, Any] | None) -> list[str]:
    """How soon a tooth is struck again, against what its damper needs."""
    if found is None:
        return []
    figure = f"tooth {found['tooth']} after {found['again_s']:.2f} s, where its damper needs {found['needs_s']:.2f} s"
    if found["too_soon"]:
        early = counted(found["too_soon"], "old pin follows", "old pins follow")
        return [f"Dampers: {early} too soon on a tooth ({figure})."]
    return [f"Dampers: no tooth is struck again before its damper can have touched; soonest {figure}."]


def _loudness(found: dict[str, Any] | None) -> list[str]:
    """How far the pins stand and overlap, and what that is assumed to do; nothing where all stand alike."""
    if found is None:
        return []
    stand = ", ".join(f"{p['count']} at {p['stands_mm']:.3f} mm (overlap {p['overlap_mm']:.3f})" for p in found["pins"])
    return [
        f"Loudness: pins stand {stand}; melody most, accents between. About {found['range_db']:.0f} dB from softest to "
        "loudest, assumed: a tip swings as far as it is lifted, and all tips stand equally high over the plate. "
        "preview.wav, tune.mid and the desk sound so."
    ]


def _tempo_asked(found: dict[str, Any]) -> str:
    return "written" if found["tempo_was_given"] else "usual (the file gives no tempo)"


def _other(other: dict[str, Any]) -> str:
    return (
        f"  {other['key']} (--transpose {other['transposition']}): {other['lost']} of {other['notes']} notes left out, "
        f"{other['folded']} an octave away, melody {other['melody_kept']} of {other['melody']}"
    )


def _moved(other: dict[str, Any]) -> str:
    return f"{other['folded']} an octave away (--transpose {other['transposition']})"
