"""Two voices on a staff: where a held note is written held, where it is not, and that nothing sounds otherwise.

Judged by music21 and verovio, which read the file back; the cases are usual left hands, common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21 import converter, note, stream

from disc.records import Metre, Tune, Voice
from disc.tune.write.engrave import engrave
from disc.tune.write.layout import lay_out
from disc.tune.write.musicxml import musicxml_of_page, musicxml_text

from .made import parse, tune_of
from .test_musicxml import same

MELODY = "84 2 86 2"


def left_hand(text: str, metre: Metre = Metre(4, 4)) -> Tune:
    """A bar of melody over "48+64 1/2 64 1/2 ...": tones together, and how long until the next."""
    below, place = [], Fraction(0)
    words = text.split()
    for tones, length in zip(words[::2], words[1::2], strict=True):
        below += [(place, Fraction(length), int(tone)) for tone in tones.split("+")]
        place += Fraction(length)
    return tune_of(parse(MELODY), below, metre)


HELD = "48+64 1/2 64 1/2 67 1/2 64 1/2 48+64 1/2 64 1/2 67 1/2 64 1/2"


# Written in one voice as well or better: broken chord, waltz-like after-beats, a bass that walks, a bass struck again,
# one tie saved.
@pytest.mark.parametrize(
    "text",
    [
        "48 1/2 67 1/2 64 1/2 67 1/2 48 1/2 67 1/2 64 1/2 67 1/2",
        "48 1 64+67 1 55 1 64+67 1",
        "48+52 1/2 50 1/2 52 1/2 53 1/2 55 2",
        "48+64 1/2 48+64 1/2 48+64 1/2 48+64 1/2 48+64 2",
        "48+64 1 64 1 48 2",
    ],
)
def test_one_voice_where_it_reads_as_well(text: str) -> None:
    assert all(len(staff) == 1 for bar in lay_out(left_hand(text)).bars for staff in bar.staves)


def test_a_bass_held_under_moving_notes_has_a_voice_of_its_own() -> None:
    tune = left_hand(HELD)
    text = musicxml_text(tune)
    same(text, tune)
    lower = converter.parse(text, format="musicxml").parts[1]
    voices = list(lower.recurse().getElementsByClass(stream.Voice))
    held = [n for voice in voices for n in voice.getElementsByClass(note.Note) if n.pitch.midi == 48]
    assert [(n.offset, n.quarterLength, n.stemDirection) for n in held] == [(0, 2, "down"), (2, 2, "down")]
    moving = [n for n in lower.recurse().getElementsByClass(note.Note) if n.pitch.midi > 60]
    assert {(n.quarterLength, n.stemDirection) for n in moving} == {(0.5, "up")}
    assert "<tie " not in text
    layers = [re.findall(r'class="layer"', staff) for staff in engrave(text).pages[0].split('class="staff"')[1:]]
    assert [len(found) for found in layers] == [1, 2]


def test_what_is_not_held_all_bar_long_leaves_no_printed_rest() -> None:
    tune = left_hand("48+64 1/2 64 1/2 67 1/2 64 1/2 60 1 62 1")
    text = musicxml_text(tune)
    same(text, tune)
    rests = re.findall(r"<note([^>]*)>\s*<rest", text)
    assert rests
    assert all('print-object="no"' in rest for rest in rests)
    assert 'class="rest"' not in engrave(text).pages[0]


def test_melody_and_accompaniment_on_one_staff_part_where_one_is_held() -> None:
    """One accompaniment note among many: there is no staff for it alone."""
    melody = parse("84 4 " + "84 1 86 1 88 1 86 1 " * 12)
    tune = tune_of(melody, [(Fraction(2), Fraction(2), 72), (Fraction(7), Fraction(1), 72)])
    page = lay_out(tune)
    assert len(page.clefs) == 1
    assert [len(bar.staves[0]) for bar in page.bars] == [2] + [1] * 12
    whole = page.bars[0].staves[0][0][0]
    assert (whole.duration, [n.pitch for n in whole.notes]) == (4, [84])
    same(musicxml_of_page(page), tune)


def test_an_accidental_holds_for_both_voices_in_the_order_of_time() -> None:
    """F sharp, again in the same bar without a sign, then F natural: of the moving voice, and of the held one."""
    tune = left_hand("48+66 1/2 64 1/2 66 1/2 64 1/2 48+65 1/2 64 1/2 65 1/2 64 1/2")
    text = musicxml_text(tune)
    assert re.findall("<accidental>(.*?)</accidental>", text) == ["sharp", "natural"]
    low = left_hand("54+71 1/2 71 1/2 72 1/2 71 1/2 53+71 1/2 71 1/2 72 1/2 71 1/2")
    assert re.findall("<accidental>(.*?)</accidental>", musicxml_text(low)) == ["sharp", "natural"]


def test_a_second_voices_fermata_and_teeth_stand_clear_of_the_firsts() -> None:
    tune = left_hand(HELD)
    tune = replace(tune, held=(Fraction(2),), notes=tuple(replace(n, tooth=n.pitch - 40) for n in tune.notes))
    text = musicxml_of_page(lay_out(tune), teeth=True)
    assert re.findall('<fermata type="(.*?)"', text) == ["upright", "upright", "inverted"]
    lower = converter.parse(text, format="musicxml").parts[1]
    lines = {
        (n.pitch.midi == 48, lyric.number) for n in lower.recurse().getElementsByClass(note.Note) for lyric in n.lyrics
    }
    assert lines == {(False, 1), (True, 2)}


chords = st.lists(
    st.tuples(st.sets(st.integers(48, 72), min_size=1, max_size=3), st.sampled_from([Fraction(1, 2), Fraction(1)])),
    min_size=4,
    max_size=12,
)


@settings(max_examples=25)
@given(chords, st.sampled_from([Metre(4, 4), Metre(3, 4), Metre(6, 8)]))
def test_whatever_is_held_every_note_sounds_once_and_every_voice_is_full(
    hand: list[tuple[set[int], Fraction]], metre: Metre
) -> None:
    text = " ".join(f"{'+'.join(map(str, sorted(tones)))} {length}" for tones, length in hand)
    tune = left_hand(text, metre)
    page = lay_out(tune)
    written = []
    for bar in page.bars:
        for voice in (voice for staff in bar.staves for voice in staff):
            place = bar.printed.offset
            for chord in voice:
                assert chord.onset == place
                place += chord.duration
                if not chord.tied_back:
                    written += [pin for n in chord.notes for pin in n.pins]
            assert place == bar.printed.length
    assert sorted(written) == sorted(pin for n in tune.notes for pin in n.pins)
    assert all(n.voice is Voice.ACCOMPANIMENT for bar in page.bars for n in bar.printed.notes if n.pitch < 84)
