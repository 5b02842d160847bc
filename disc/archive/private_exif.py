"""A photograph's place and serial numbers blanked in its own bytes; not a pixel is coded anew.

EXIF is a little TIFF file within a JPEG, PNG, HEIF or TIFF file (Exif 2.3, CIPA DC-008; TIFF 6.0, section 2): the
values of the private tags are overwritten with zeros where they stand, so that no offset moves. XMP and IPTC, which
repeat them in words, are blanked whole, and so is the maker's note, where cameras keep their number.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator

from disc.photo.image import EXIF_IFD

# Exif 2.3 tags, from memory: GPS IFD pointer; MakerNote; ImageUniqueID, CameraOwnerName, BodySerialNumber,
# LensSerialNumber; and the tags of TIFF that hold names, IPTC and XMP: Artist, XMP, IPTC-NAA, Photoshop. DNG's
# CameraSerialNumber.
GPS_IFD = 0x8825
# Tags, as said above, from memory.
PRIVATE = frozenset({0x927C, 0xA420, 0xA430, 0xA431, 0xA435, 0x013B, 0x02BC, 0x83BB, 0x8649, 0xC62F})
# Bytes of a value by TIFF's field type, 1 to 12; TIFF 6.0, section 2, from memory.
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
_TIFF = re.compile(rb"II\*\0|MM\0\*")
_XMP = re.compile(rb"<x:xmpmeta.*?</x:xmpmeta>|<rdf:RDF.*?</rdf:RDF>", re.DOTALL)
MOST_IFDS = 64  # directories followed; a file with more is made to send a reader in circles. Chosen by hand
PNG_MARK = b"\x89PNG\r\n\x1a\n"


def blank_private(photo: bytes) -> bytes:
    """The photograph's bytes, as long as before, without place, serial numbers and names."""
    data = bytearray(photo)
    for start in _tiff_starts(photo):
        _blank_tiff(data, start)
    for found in _XMP.finditer(photo):
        data[found.start() : found.end()] = b" " * (found.end() - found.start())
    if photo[:2] == b"\xff\xd8":
        _blank_iptc(data)
    if photo[:8] == PNG_MARK:
        _blank_png_text(data)
    return bytes(data)


def _tiff_starts(photo: bytes) -> Iterator[int]:
    """Where a TIFF structure begins: the file itself, after the letters Exif, or in the chunk of a PNG or WebP file."""
    if _TIFF.match(photo):
        yield 0
        return
    for found in re.finditer(rb"Exif\0\0|eXIf|EXIF.{4}", photo, re.DOTALL):
        if _TIFF.match(photo, found.end()):
            yield found.end()


def _blank_tiff(data: bytearray, start: int) -> None:
    order = "<" if data[start : start + 2] == b"II" else ">"
    waiting = [(_number(data, start + 4, "I", order), False)]
    seen: set[int] = set()
    while waiting and len(seen) < MOST_IFDS:
        offset, is_gps = waiting.pop()
        at = start + offset
        if offset == 0 or at in seen or at + 2 > len(data):
            continue
        seen.add(at)
        count = _number(data, at, "H", order)
        for entry in range(at + 2, min(at + 2 + 12 * count, len(data) - 11), 12):
            tag = _number(data, entry, "H", order)
            if tag in (EXIF_IFD, GPS_IFD):
                waiting.append((_number(data, entry + 8, "I", order), tag == GPS_IFD))
            if is_gps or tag in PRIVATE:
                _blank_value(data, start, entry, order)
        after = at + 2 + 12 * count
        if after + 4 <= len(data) and not is_gps:
            waiting.append((_number(data, after, "I", order), False))


def _blank_value(data: bytearray, start: int, entry: int, order: str) -> None:
    kind, count = _number(data, entry + 2, "H", order), _number(data, entry + 4, "I", order)
    size = _SIZES.get(kind, 1) * count
    first = entry + 8 if size <= 4 else start + _number(data, entry + 8, "I", order)
    last = min(first + size, len(data))
    data[first:last] = bytes(max(last - first, 0))


def _number(data: bytearray, at: int, kind: str, order: str) -> int:
    size = struct.calcsize(kind)
    return int(struct.unpack(order + kind, bytes(data[at : at + size]))[0]) if 0 <= at <= len(data) - size else 0


def _blank_iptc(data: bytearray) -> None:
    """JPEG's APP13 segments (ITU-T T.81: a marker, then its length, itself included)."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] not in (0xDA, 0xD9):
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if length < 2:
            return
        if data[at + 1] == 0xED:
            end = min(at + 2 + length, len(data))  # a file that was cut short says a length that it has not
            data[at + 4 : end] = bytes(max(0, end - at - 4))
        at += 2 + length


def _blank_png_text(data: bytearray) -> None:
    """PNG's text chunks blanked after their keyword, and every checksum made anew (ISO/IEC 15948)."""
    at = len(PNG_MARK)
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        kind, end = bytes(data[at + 4 : at + 8]), at + 8 + length
        if end + 4 > len(data):
            return
        if kind in (b"tEXt", b"eXIf", b"iTXt", b"zTXt"):
            if kind != b"eXIf":
                first = max(data.find(b"\0", at + 8, end) + 1, at + 8)  # no keyword: all of it
                data[first:end] = (b" " if kind == b"tEXt" else b"\0") * (end - first)
            data[end : end + 4] = zlib.crc32(data[at + 4 : end]).to_bytes(4, "big")
        at = end + 4
