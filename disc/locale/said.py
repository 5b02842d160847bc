"""Sentences that rooms have already said in English, for a paper in another language.

What a room finds out is stored once, in English (findings, plan, estimate); a paper is printed in the reader's.
terms/ lists the patterns of what is said; a sentence that fits one is said anew with its values, a list part by
part, and numbers get their decimal sign. What fits nothing stays as it is and is remembered, so that a test can name
it.
"""

from __future__ import annotations

import re
from functools import cache, cached_property

from disc.locale.catalogue import Language, reader
from disc.locale.terms.all_terms import PATTERNS

_PLACE = re.compile(r"\{(\w+)\}")
# Names in the patterns that stand for a number; any other stands for words within one sentence.
NUMBERS = frozenset({"n", "mm", "ms", "um", "deg", "s", "p", "q", "b", "c", "d", "least", "mid", "most", "other"})
_NUMBER = r"[-+±<>]?\s?\d[\d.,/½¼¾\s]*(?:\s?%)?"
_WORDS = r"(?:(?!\. |; |\n).)+?"
# How sentences are put together, the widest first.
_JOINTS = ("\n", ". ", "; ", ", ", ": ", " + ", " (")
_LIST = re.compile(r"(, | and )")
_DECIMAL = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?![\w.]|\d)")
_NOTHING_TO_SAY = re.compile(
    r"[^A-Za-zÀ-ÿ]*"  # no letters
    r"|[A-G][#b♯♭]?-?\d.*|([A-H](is|es|s)?|do|ré|mi|fa|sol|la|si)[♯♭]?-?\d"  # notes, also those said already
    r"|[a-z]{0,2}\d+|[A-Z]{3}|SHA-256"  # numbers, currencies
    r"|[-+\d.,/ ]+ [A-Z]{3}|\d{4}-\d\d-\d\dT\S*"  # amounts, moments
    r"|[xy] [+-][\d.]+( +y [+-][\d.]+)?"  # a place
    r"|[\d\s.,:/+±°x-]*(mm|ms|°|µm|s|h|Hz|%|c)?\.?"  # a measure
)


_COMMAND = re.compile(r"(disc [a-z]+|--[a-z-]+) (?:(?!, then ).)+")


class Said:
    """Turns English into one language. unknown: what fitted no pattern."""

    def __init__(self, language: Language) -> None:
        self.language = language
        self.unknown: set[str] = set()
        self._t = reader(language)

    @cached_property
    def _exact(self) -> dict[str, str]:
        return {pattern: self._t(pattern) for pattern in PATTERNS if not _PLACE.search(pattern)}

    @cached_property
    def _patterns(self) -> list[tuple[re.Pattern[str], str]]:
        """The longest first. Made when first asked for: hundreds of expressions, of which English needs none."""
        with_values = sorted((p for p in PATTERNS if _PLACE.search(p)), key=lambda p: -len(_PLACE.sub("", p)))
        return [(pattern_regex(pattern), self._t(pattern)) for pattern in with_values]

    def __call__(self, words: str) -> str:
        """The words in this language."""
        if self.language is Language.EN or not words.strip():
            return words
        found = self._find(words, 0)
        if found is None:
            found = self._by_parts(words, 0)
        return found

    def _find(self, words: str, depth: int) -> str | None:
        """The whole of the words, if they are one sentence that is known, else None."""
        if words in self._exact:
            return self._exact[words]
        bare = words.strip()
        if _COMMAND.fullmatch(bare):
            return words  # to be typed as it stands, numbers and all
        if _NOTHING_TO_SAY.fullmatch(bare):
            return self._numbers(words)
        for said in (bare, bare.removesuffix(".")):
            if said in self._exact:
                return words.replace(said, self._exact[said], 1)
            lower = said[:1].lower() + said[1:]
            if lower in self._exact:
                known = self._exact[lower]
                return words.replace(said, known[:1].upper() + known[1:], 1)
        if depth > 4:
            return None
        for pattern, translated in self._patterns:
            said = bare.removesuffix(".")  # first: the last value must not take the full stop for its own
            match = pattern.fullmatch(said)
            if not match and said != bare:
                said = bare
                match = pattern.fullmatch(said)
            if match:
                values = {name: self._value(value, depth) for name, value in match.groupdict().items()}
                if note := match.groupdict().get("note"):
                    values["note"] = key_note(note, pattern.pattern.endswith("minor"), self.language)
                return words.replace(said, translated.format(**values), 1)
        return None

    def _value(self, words: str, depth: int) -> str:
        found = self._find(words, depth + 1)
        listed = _LIST.split(words)
        if found is None and len(listed) > 1:
            known = [self._find(word, depth + 1) for word in listed[::2]]
            if None not in known:
                joints = [f" {self._t('and')} " if joint == " and " else joint for joint in listed[1::2]]
                return "".join(f"{word}{joint}" for word, joint in zip(known, [*joints, ""], strict=True))
        return self._by_parts(words, depth + 1, note=False) if found is None else found

    def _by_parts(self, words: str, depth: int, note: bool = True) -> str:
        bare = words.strip()
        if bare.startswith("(") and bare.endswith(")") and ")" not in bare[:-1]:
            return words.replace(bare, f"({self._part(bare[1:-1], depth + 1, note)})", 1)
        for joint in _JOINTS:
            if joint in words.strip() and depth < 8:
                return self.joint(joint).join(self._part(part, depth + 1, note) for part in words.split(joint))
        if note and not _NOTHING_TO_SAY.fullmatch(words.strip()):
            self.unknown.add(words.strip())
        return self._numbers(words)

    def joint(self, joint: str) -> str:
        """A colon or semicolon as the language sets it: in French a space that does not break stands before it."""
        return f"\u00a0{joint}" if self.language is Language.FR and joint in ("; ", ": ") else joint

    def _part(self, words: str, depth: int, note: bool) -> str:
        found = self._find(words, depth)
        if found is None and words.endswith(")"):
            found = self._find(words[:-1], depth)
            found = None if found is None else f"{found})"
        return self._by_parts(words, depth, note) if found is None else found

    def _numbers(self, words: str) -> str:
        return words if self.language is Language.EN else _DECIMAL.sub(r"\1,\2", words)


def key_note(name: str, is_minor: bool, language: Language) -> str:
    """The note a key is named for, as the language says it: "B flat" is B or b in German, si bémol in French."""
    letter, sign = name[:1], {"b": "flat", "♭": "flat", "#": "sharp", "♯": "sharp"}.get(name[1:], name[2:])
    if language is Language.FR:
        said = dict(zip("CDEFGAB", ("do", "ré", "mi", "fa", "sol", "la", "si"), strict=True)).get(letter, letter)
        return f"{said}{ {'sharp': ' dièse', 'flat': ' bémol'}.get(sign, '') }"
    if language is Language.DE:
        said = "H" if letter == "B" and sign != "flat" else letter
        if sign == "sharp":
            said += "is"
        elif sign == "flat" and letter != "B":
            said += "s" if letter in "AE" else "es"
        return said.lower() if is_minor else said
    return name


def note_in(name: str, language: Language) -> str:
    """A note with its octave as the language names it: "F♯5" is Fis5 or fa♯5, and B is H in German, where B is B flat.

    The octave keeps the number of scientific pitch notation (A4 = 440 Hz), which the papers name.
    """
    letter, rest = name[:1], name[1:]
    if language is Language.EN or letter not in "ABCDEFG":
        return name
    sign = rest[:1] if rest[:1] in ("♯", "♭") else ""
    octave = rest[len(sign) :]
    if language is Language.FR:
        return f"{key_note(letter, False, language)}{sign}{octave}"
    words = {"♯": " sharp", "♭": " flat"}.get(sign, "")
    return f"{key_note(letter + words, False, language)}{octave}"


def pattern_regex(pattern: str) -> re.Pattern[str]:
    """A pattern as the regular expression of what it stands for; its names are the groups."""
    parts = _PLACE.split(pattern)
    made = "".join(
        re.escape(part) if i % 2 == 0 else f"(?P<{part}>{_NUMBER if part in NUMBERS else _WORDS})"
        for i, part in enumerate(parts)
    )
    return re.compile(made, re.DOTALL)


@cache
def said_in(language: Language) -> Said:
    """The one that speaks a language; made once."""
    return Said(language)
