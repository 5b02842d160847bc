"""A file from anywhere, made safe before a score reader sees it: its kind, its size, and what it would unfold to.

A score of a few hundred notes is what a disc can hold; a file many times larger is refused here, at once and in one
line, so that no reader is asked to unfold a bomb. Nothing is fetched: a file's references are never followed.
"""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from xml.parsers import expat

from disc.errors import BadInput
from disc.tune.score.files.old_text import decode_old

# Unless said otherwise: chosen by hand while looking at development tunes; not fitted.
# A disc holds some hundred notes. These limits leave room for a whole movement to cut a tune from, and keep the slowest
# reader (music21, some 3000 notes a second on a slow machine) and its memory (about 20 kB a note) within bounds.
LARGEST_FILE_BYTES = 8_000_000
LARGEST_MIDI_BYTES = 1_000_000  # some 300 000 events, two seconds of reading
LARGEST_XML_BYTES = 24_000_000  # once unpacked
LARGEST_TEXT_BYTES = 2_000_000  # ABC, kern and the like
MOST_NOTES = 6_000  # two seconds of the slowest reader, as said above
MOST_BARS = 3_000  # as played
LONGEST_TITLE = 120  # letters kept of a title or a name; the rest is cut off (chosen, nothing hangs on it)
LONGEST_S = 1800.0  # half an hour of music; a disc plays one minute
# What is no note takes a reader's memory too. A printed note needs some twenty elements of XML or forty characters of
# ABC; kern's cells hold a note each, or a rest, a sign or a comment. Some 100 bytes an element, 1 to 20 kB a sign.
MOST_XML_ELEMENTS = 200_000
MOST_XML_SIGNS = 20_000  # what music21 makes an object of, note or not
MOST_KERN_CELLS = 40_000  # some thousands of notes, with the rests and signs between them; chosen
MOST_ABC_CHARACTERS = 250_000  # of one tune
DEEPEST_XML = 60  # elements inside one another; MusicXML needs about ten
MOST_PACKED_FILES = 200  # in one compressed score, which holds two or three; chosen
LARGEST_FIGURE = 256  # of a metre or a unit of length; the shortest value ever printed is a 256th, from memory
XML_SIGNS = frozenset({"attributes", "barline", "direction", "harmony", "measure", "note", "part", "print", "sound"})


class ScoreKind(StrEnum):
    """What music can be read from."""

    MIDI = "MIDI"
    MUSICXML = "MusicXML"
    ABC = "ABC"
    KERN = "kern"


@dataclass(frozen=True, slots=True)
class ScoreFile:
    """A checked file: its kind and its content, unpacked. text: empty for MIDI; data: the MIDI bytes."""

    path: Path
    kind: ScoreKind
    data: bytes = b""
    text: str = ""


def open_score(path: Path) -> ScoreFile:
    """The file's kind and content. Raises BadInput if it is absent, too large, a bomb, or no score."""
    data = _read_bytes(path)
    if not data.strip():
        raise BadInput(f"{path}: the file is empty. Give a tune as MIDI, MusicXML, ABC or kern.")
    if data[:4] == b"MThd" or data[:4] == b"RIFF":
        if len(data) > LARGEST_MIDI_BYTES:
            raise BadInput(
                f"{path}: {len(data) / 1e6:.1f} MB is too large for a MIDI tune. Save only the tune you need."
            )
        return ScoreFile(path, ScoreKind.MIDI, data=data)
    if data[:2] == b"PK":
        data = _unpack(path, data)
        return _xml_file(path, data)
    if _looks_like_xml(data):
        return _xml_file(path, data)
    return _text_file(path, data)


def _read_bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise BadInput(f"{path}: this is a folder, not a tune. Name the file in it.")
        if not path.exists():
            raise BadInput(f"{path}: there is no such file. Check the name of the tune.")
        if not path.is_file():
            raise BadInput(f"{path}: this is not an ordinary file. Copy the tune to a file first.")
        size = path.stat().st_size
        if size > LARGEST_FILE_BYTES:
            raise BadInput(
                f"{path}: {size / 1e6:.0f} MB is too large for a tune (at most {LARGEST_FILE_BYTES // 1_000_000} MB). "
                "Save only the tune you need."
            )
        return path.read_bytes()
    except OSError as error:
        raise BadInput(f"{path}: the tune cannot be read ({error.strerror or error}).") from error


# ---- compressed MusicXML


def _unpack(path: Path, data: bytes) -> bytes:
    """The score inside a .mxl: named by its container file, else the first .xml or .musicxml in it."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            names = packed.namelist()
            if len(names) > MOST_PACKED_FILES:
                raise BadInput(f"{path}: {len(names)} files are packed in it; a compressed score has two or three.")
            inner = _score_name(path, packed, names)
            return _bounded(path, packed, inner, LARGEST_XML_BYTES)
    except BadInput:
        raise
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError, ValueError, KeyError) as error:
        raise BadInput(f"{path}: the compressed score is damaged ({_short(error)}). Export it once more.") from error
    except Exception as error:  # zlib.error, lzma.LZMAError and their like have no common base
        raise BadInput(f"{path}: the compressed score is damaged ({_short(error)}). Export it once more.") from error


def _score_name(path: Path, packed: zipfile.ZipFile, names: list[str]) -> str:
    if "META-INF/container.xml" in names:
        container = _bounded(path, packed, "META-INF/container.xml", 100_000).decode("utf-8", errors="replace")
        named = re.search(r'full-path\s*=\s*["\']([^"\']+)["\']', container)
        if named and named.group(1) in names:
            return named.group(1)
    for name in names:
        if name.lower().endswith((".xml", ".musicxml")) and not name.startswith("META-INF"):
            return name
    raise BadInput(f"{path}: no MusicXML score is packed in it. Export the tune as .mxl or .musicxml.")


def _bounded(path: Path, packed: zipfile.ZipFile, name: str, most: int) -> bytes:
    """Unpack one member, never more than `most` bytes, whatever its own heading claims."""
    with packed.open(name) as member:
        content = member.read(most + 1)
    if len(content) > most:
        raise BadInput(
            f"{path}: {name} unfolds to more than {most / 1e6:g} MB, far more than a tune needs. "
            "The file is damaged or not a score; export the tune once more."
        )
    return content


# ---- MusicXML


def _looks_like_xml(data: bytes) -> bool:
    start = data[:400]
    for mark in (b"\xff\xfe", b"\xfe\xff"):
        if start.startswith(mark):
            start = data[:800].decode("utf-16", errors="replace").encode("utf-8", errors="replace")
    return start.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<")


def _xml_file(path: Path, data: bytes) -> ScoreFile:
    """Walk the XML once without building anything: entities, depth, notes, bars and length are checked."""
    walk = _XmlWalk(path)
    walk.run(data)
    return ScoreFile(path, ScoreKind.MUSICXML, text=_decode_xml(path, data))


class _XmlWalk:
    """A pass of expat over MusicXML that counts and refuses; it keeps no tree."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.depth = 0
        self.elements = 0
        self.signs = 0
        self.notes = 0
        self.bars = 0
        self.longest_part_bars = 0
        self.root = ""

    def run(self, data: bytes) -> None:
        parser = expat.ParserCreate()
        parser.EntityDeclHandler = self._entity
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        try:
            parser.Parse(data, True)
        except expat.ExpatError as error:
            raise BadInput(
                f"{self.path} line {error.lineno}: the MusicXML is damaged ({expat.errors.messages[error.code]}). "
                "Export the tune once more."
            ) from error
        except (ValueError, LookupError) as error:
            raise BadInput(f"{self.path}: the MusicXML cannot be read ({_short(error)}). Save it as UTF-8.") from error
        if self.root not in ("score-partwise", "score-timewise"):
            raise BadInput(f"{self.path}: this is XML but no MusicXML score (it begins with <{self.root[:40]}>).")
        if self.root == "score-timewise":
            raise BadInput(f"{self.path}: MusicXML written bar by bar (score-timewise). Export it as score-partwise.")

    def _entity(self, *_: object) -> None:
        raise BadInput(
            f"{self.path}: the file defines XML entities, which no score needs and which can unfold without end. "
            "Export the tune once more."
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self.root = self.root or name
        self.depth += 1
        if self.depth > DEEPEST_XML:
            raise BadInput(f"{self.path}: the XML is nested {self.depth} deep; this is not a score.")
        self.elements += 1
        self.signs += name in XML_SIGNS
        if self.elements > MOST_XML_ELEMENTS or self.signs > MOST_XML_SIGNS:
            raise BadInput(_too_full(self.path))
        if name == "part":
            self.bars = 0
        elif name == "measure":
            self.bars += 1
        elif name == "note":
            self.notes += 1
        elif name == "repeat" and attributes.get("times", "2").strip() not in {str(n) for n in range(10)}:
            raise BadInput(f"{self.path}: a repeat to be played {attributes['times'][:12]} times. Mend that number.")
        check_counts(self.path, self.notes, self.bars)

    def _end(self, _: str) -> None:
        self.depth -= 1


def _decode_xml(path: Path, data: bytes) -> str:
    """The text without its declaration of an encoding, which no longer holds once it is text."""
    named = re.match(rb"""\s*<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""", data.removeprefix(b"\xef\xbb\xbf"))
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else named.group(1).decode() if named else "utf-8"
    try:
        text = data.decode("utf-8-sig" if encoding.lower() in ("utf-8", "utf8") else encoding)
    except (UnicodeDecodeError, LookupError) as error:
        raise BadInput(f"{path}: the MusicXML cannot be read ({_short(error)}). Save it as UTF-8.") from error
    return re.sub(r"^\s*<\?xml[^>]*\?>", "", text.lstrip("\ufeff"), count=1)


# ---- ABC and kern


def _text_file(path: Path, data: bytes) -> ScoreFile:
    if len(data) > LARGEST_TEXT_BYTES:
        raise BadInput(
            f"{path}: {len(data) / 1e6:.1f} MB of text is too much for a tune (at most "
            f"{LARGEST_TEXT_BYTES / 1e6:g} MB). Save only the tune you need."
        )
    text = decode_old(data).replace("\r\n", "\n").replace("\r", "\n")
    if re.search(r"^\*\*kern(\t|\s*$)", text, re.MULTILINE) or re.search(r"^\*\*\S+.*\t\*\*kern", text, re.MULTILINE):
        _check_kern(path, text)
        return ScoreFile(path, ScoreKind.KERN, text=text)
    if re.search(r"^K:", text, re.MULTILINE):
        return ScoreFile(path, ScoreKind.ABC, text=text)
    raise BadInput(f"{path}: this is no tune the program can read. Give it as MIDI, MusicXML (.mxl), ABC or kern.")


def _check_kern(path: Path, text: str) -> None:
    lines = [line for line in text.split("\n") if line and not line.startswith(("!", "*"))]
    if sum(line.count("\t") + 1 for line in text.split("\n")) > MOST_KERN_CELLS:
        raise BadInput(_too_full(path))
    bars = sum(line.startswith("=") for line in lines)
    notes = sum(len(line.split()) for line in lines if not line.startswith("="))
    check_counts(path, notes, bars)


# ---- shared


def check_counts(path: Path, notes: int, bars: int) -> None:
    """Raises BadInput if a tune has more notes or bars than any reader should be asked to unfold."""
    if notes > MOST_NOTES or bars > MOST_BARS:
        what = f"{MOST_NOTES} notes" if notes > MOST_NOTES else f"{MOST_BARS} bars"
        raise BadInput(f"{path}: more than {what}; a disc holds a few hundred. Save only the tune you need.")


def check_abc(path: Path, tune: str, music: str) -> None:
    """Raises BadInput if an ABC tune is overfull, or its metre or unit of length is no musician's.

    music: the lines of notes alone. music21 counts a metre out beat by beat, so a huge one takes all memory and time.
    """
    if len(tune) > MOST_ABC_CHARACTERS:
        raise BadInput(_too_full(path))
    for field, value in re.findall(r"(?:^|\[)([ML]):([^\]\n%]*)", tune, re.MULTILINE):
        if any(int(n) > LARGEST_FIGURE for n in re.findall(r"\d+", value[:40])) or re.search(r"[\d.][eE]", value):
            what = "metre" if field == "M" else "unit of length"
            raise BadInput(f"{path}: the {what} {field}:{value.strip()[:20]} is no {what}. Mend that line.")
    notes = len(re.findall(r"[A-Ga-gz]", music))
    check_counts(path, notes, music.count("|"))


def _too_full(path: Path) -> str:
    return f"{path}: far more is written in it than a tune of {MOST_NOTES} notes needs. Save only the tune you need."


def check_length(path: Path, seconds: float) -> None:
    """Raises BadInput if a tune is longer than half an hour."""
    if seconds > LONGEST_S:
        length = f"{seconds / 3600:.1f} hours" if seconds > 7200 else f"{seconds / 60:.0f} minutes"
        raise BadInput(
            f"{path}: the tune lasts {length}; a disc plays about one minute, and more than "
            f"{LONGEST_S / 60:.0f} minutes are not read. Save only the tune you need."
        )


def _short(error: BaseException) -> str:
    return " ".join(str(error).split())[:100] or type(error).__name__
