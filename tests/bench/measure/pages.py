"""Printed pages to be looked at, one after the other: designed discs read back from their pins, and bent turns.

    python -m tests.bench.measure.pages FOLDER --seed 31 [--designed 20] [--bent 20] [--only NAME]

Designed: corpus tunes and movements in parts (tests/design/tunes.py), cut where a phrase ends, laid out for the combs
of tests/design/material.py and transcribed. Bent: excerpts of pieces and melodies with an accompaniment, with a
ritardando, a fermata, or a drift of 1 or 3 per cent (music_turns.py), setting errors of 15 ms. FOLDER gets a PNG of
each page at about its size on paper, and the MusicXML. Printed beside the names: what a program can tell of a page
(notes in the file that the disc does not strike; MIDI more than a millisecond away; ties a bar; the quarter's tempo).
Whether an engraver would send it back is for eyes.
"""

from __future__ import annotations

import argparse
import io
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import mido
import numpy as np
import typst
from PIL import Image

from disc.design.arranged import NoteChange, fates
from disc.design.design_job import write_job
from disc.design.plan import Design, cut_to_bars, plan_design
from disc.design.settings import DesignSettings
from disc.errors import BadInput
from disc.job import open_for_writing
from disc.pitch_names import LETTER_SEMITONES
from disc.records import Strike, Tune
from disc.tune.score.read_score import read_score
from disc.tune.score.records import Rank, ScoreIn
from disc.tune.write.engrave import A4_HEIGHT_MM, A4_WIDTH_MM, engrave
from disc.tune.write.layout import lay_out
from disc.tune.write.midi import midi_bytes
from disc.tune.write.musicxml import musicxml_of_page
from disc.turn.transcribe_job import transcribe_job
from tests.bench.measure.design import fitting_cut
from tests.bench.measure.music import lines_right, read_case
from tests.bench.truth.known import known
from tests.bench.truth.music_pieces import load_pieces
from tests.bench.truth.music_turns import KINDS, Case, case_of, case_of_melody
from tests.bench.truth.tune_corpus import load_melodies
from tests.design.material import COMBS, make_comb
from tests.design.tunes import choose_tunes, corpus_folder

EXCERPT_BARS = 16  # of a movement
PPI = 110  # of the pictures: a page fills a screen
WITHIN_S = 0.001  # of a strike, what the MIDI file may be off: the bar of the task


@dataclass(frozen=True)
class Page:
    """A tune as written, the strikes it was read from, and what is known of it."""

    name: str
    tune: Tune
    strikes: tuple[Strike, ...]
    lines: bool | None = None  # whether its bar lines are right; None: not asked
    melody: tuple[int, int, int, int] | None = None  # of a design: notes, kept; steps between kept ones, kept upwards


def designed(seed: int, count: int, folder: Path) -> Iterator[Page]:
    """Planned discs, their pins read back."""
    rng = np.random.default_rng(seed)
    made = 0
    for score in tunes(rng):
        if made == count:
            return
        spec = COMBS[made % len(COMBS)]
        comb, plate = make_comb(spec, np.random.default_rng([seed, made]))
        settings = DesignSettings()
        try:
            design = plan_design(fitting_cut(score, plate, settings), comb, plate, settings)
        except BadInput as error:
            print(f"    not planned: {score.title}: {error}"[:110])
            continue
        made += 1
        job = write_job(folder / f"job-{made}", design)
        with open_for_writing(job.folder) as opened:
            read = transcribe_job(opened)
        yield Page(f"{design.score.title}, {spec.name}", read.reading.tune, read.strikes, None, melody_of(design))


def tunes(rng: np.random.Generator) -> Iterator[ScoreIn]:
    """Tunes of one line and excerpts of movements in parts, in turn."""
    pieces = load_pieces()
    while True:
        yield choose_tunes(1, rng, in_parts=0.0)[0]
        file, measure = pieces[int(rng.integers(len(pieces)))].name.split("#")
        whole = read_score(corpus_folder() / file)[0]
        first = whole.bars[min(int(measure), len(whole.bars) - 1)].number
        yield cut_to_bars(whole, first, min(first + EXCERPT_BARS - 1, whole.bars[-1].number))


def melody_of(design: Design) -> tuple[int, int, int, int]:
    """(notes of melody, of them kept, steps from one to the next of those kept, of them up, down or level as asked)."""
    mine = [fate for fate in fates(design) if fate.note.rank is Rank.MELODY]
    kept = [fate for fate in mine if fate.change is not NoteChange.LEFT_OUT]
    steps = [
        (np.sign(b.pitch - a.pitch), np.sign(known(b.played, "a kept note") - known(a.played, "a kept note")))
        for a, b in pairwise(kept)
    ]
    return len(mine), len(kept), len(steps), sum(bool(asked == played) for asked, played in steps)


def bent(seed: int, count: int) -> Iterator[Page]:
    """Turns whose time is bent: of each kind as many."""
    rng = np.random.default_rng([seed, 1])
    pieces = load_pieces()
    melodies = [melody for melody in load_melodies(count=500) if melody.part == "held out"]
    for made in range(count):
        kind = KINDS[1 + made % (len(KINDS) - 1)]
        case: Case
        if (made // (len(KINDS) - 1)) % 2:
            case = case_of_melody(melodies[int(rng.integers(len(melodies)))], rng)
        else:
            number = int(rng.integers(len(pieces)))
            case = case_of(pieces[number], number, seed)
        reading, way, _ = read_case(case, kind, seed)
        strikes = reading_strikes(reading.tune)
        yield Page(
            f"{kind}: {case.name}, {case.metre[0]}/{case.metre[1]}",
            reading.tune,
            strikes,
            lines_right(case, reading, way),
        )


def reading_strikes(tune: Tune) -> tuple[Strike, ...]:
    """The strikes that the notes of a tune were read from."""
    return tuple(
        Strike(0.0, known(note.onset_s, "a read note's onset"), note.pitch, float(note.pitch), pin)
        for note in tune.notes
        for pin in note.pins
    )


def sounding_faults(text: str, page: Page) -> int:
    """Pins struck whose note is not in the file once, at its pitch, or notes of pins that are not struck."""
    found: dict[int, list[int]] = {}
    for element in ElementTree.fromstring(text[text.index("<score-partwise") :]).iter("note"):
        name, pitch = element.get("id", ""), element.find("pitch")
        if pitch is None or name.endswith("-held"):
            continue
        steps = LETTER_SEMITONES[pitch.findtext("step", "")] + int(pitch.findtext("alter", "0"))
        for pin in name.removeprefix("pin-").split("-"):
            found.setdefault(int(pin), []).append(steps + 12 * (int(pitch.findtext("octave", "")) + 1))
    struck = {known(s.pin_id, "a strike's pin"): round(known(s.pitch, "a pitch")) for s in page.strikes}
    return sum(found.get(pin, []) != [struck.get(pin)] for pin in {*found, *struck})


def midi_off_s(tune: Tune, strikes: Sequence[Strike]) -> float:
    """The most that a note of the MIDI file is away from its strike, the first notes laid together."""
    now, heard = 0.0, list[tuple[int, float]]()
    for message in mido.MidiFile(file=io.BytesIO(midi_bytes(tune))):
        now += message.time
        if message.type == "note_on" and message.velocity:
            heard.append((message.note, now))
    true = sorted((round(known(s.pitch, "a pitch")), s.onset_s) for s in strikes)
    if [pitch for pitch, _ in sorted(heard)] != [pitch for pitch, _ in true]:
        return float("inf")
    apart = min(at for _, at in heard) - min(at for _, at in true)
    return max(abs(at - apart - struck) for (_, at), (_, struck) in zip(sorted(heard), true, strict=True))


def write_page(page: Page, number: int, folder: Path) -> str:
    """A picture of the page and its MusicXML; a line of what is told of it."""
    laid = lay_out(page.tune)
    text = musicxml_of_page(laid)
    (folder / f"{number:02d}.musicxml").write_text(text)
    engraved = engrave(text, page.tune.title or page.name, subtitle=page.name if page.tune.title else "")
    for at, svg in enumerate(engraved.pages, start=1):
        (folder / f"{number:02d}{'' if at == 1 else f'-{at}'}.png").write_bytes(png_of(svg))
    wrong, off_s = sounding_faults(text, page), midi_off_s(page.tune, page.strikes)
    ties = text.count('<tied type="start"')
    lines = "" if page.lines is None else f" lines {'right' if page.lines else 'WRONG'}"
    quarter = 60.0 / page.tune.quarter_s
    said = f"{page.tune.metre.beats}/{page.tune.metre.unit}, quarter {quarter:.0f}"
    return (
        f"{number:02d} {page.name[:60]:60s} {said}{lines}; {len(engraved.pages)} pages, {len(laid.bars)} bars, {ties} "
        f"ties; notes wrong {wrong}, MIDI {1000 * off_s:.2f} ms{' ***' if wrong or off_s > WITHIN_S else ''}"
    )


def png_of(svg: str) -> bytes:
    """A page of paper as a picture, cut below its last music."""
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "page.svg").write_text(svg, encoding="utf-8")
        main = Path(name) / "main.typ"
        main.write_text(
            f"#set page(width: {A4_WIDTH_MM:g}mm, height: {A4_HEIGHT_MM:g}mm, margin: 0mm)\n"
            f'#image("page.svg", width: {A4_WIDTH_MM:g}mm, height: {A4_HEIGHT_MM:g}mm)'
        )
        picture = Image.open(io.BytesIO(typst.compile(str(main), format="png", ppi=PPI))).convert("L")
    dark = np.flatnonzero((np.array(picture) < 128).any(axis=1))
    out = io.BytesIO()
    picture.crop((0, 0, picture.width, min(picture.height, int(dark[-1]) + 30))).save(out, "PNG")
    return out.getvalue()


def main() -> None:
    """Read the arguments, draw the pages, print a line for each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--designed", type=int, default=20)
    parser.add_argument("--bent", type=int, default=20)
    args = parser.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    rows: list[tuple[int, int, int, int]] = []
    with tempfile.TemporaryDirectory() as jobs:
        for number, page in enumerate(designed(args.seed, args.designed, Path(jobs)), start=1):
            print(write_page(page, number, args.folder), flush=True)
            rows += [page.melody] if page.melody else []
        for number, page in enumerate(bent(args.seed, args.bent), start=args.designed + 1):
            print(write_page(page, number, args.folder), flush=True)
    if rows:
        notes, kept, steps, alike = np.array(rows).sum(axis=0).tolist()
        print(f"melody kept {kept / notes:.4f} of {notes}; contour {alike / max(1, steps):.4f} of {steps} steps")


if __name__ == "__main__":
    main()
