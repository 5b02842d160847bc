"""Text of old tune files: UTF-8, Latin-1, or the DOS code page that the German folk-song collections were typed in.

Such files say nothing of their code. Bytes that are letters in one code are signs in another: in Latin-1 (and after a
careless conversion to UTF-8) the DOS umlauts are control characters, which no text has.
"""

from __future__ import annotations

import re

# Code page 437, IBM PC: letters among its upper half that European titles have. 850 has the same at these places.
DOS_LETTERS = (
    "\x80\x81\x82\x83\x84\x85\x87\x88\x89\x8a\x8b\x8c\x8d\x8e\x90\x93\x94\x95\x96\x97\x99\x9a\xa0\xa1\xa2\xa3\xa4\xa5"
)
DOS_SHARP_S = "\xe1"  # in Latin-1 an a with an acute accent
CONTROLS = re.compile("[\x80-\x9f]")
UMLAUTS = re.compile("[\x81\x84\x8e\x94\x99\x9a\xe1]")  # of DOS
UPPER = re.compile("[\xc0-\xe0\xe2-\xff]")  # letters of Latin-1 and of Windows
ACUTE = re.compile("[\xed\xf3\xfa]")  # beside these the sharp s is one of the acute accents of Latin-1


def decode_old(data: bytes) -> str:
    """The text of a file that does not name its code."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
        if CONTROLS.search(text) and len(UPPER.findall(text)) > len(UMLAUTS.findall(text)):
            return data.decode("cp1252", errors="replace")  # the controls are Windows's quotation marks and dashes
    return _from_dos(text) if CONTROLS.search(text) else text


def _from_dos(text: str) -> str:
    """Text in which letters of DOS were taken for Latin-1; what is no letter of DOS stays."""
    letters = DOS_LETTERS if ACUTE.search(text) else DOS_LETTERS + DOS_SHARP_S
    return text.translate({ord(sign): sign.encode("latin-1").decode("cp437") for sign in letters})
