"""Why a reading of the metre lost, in a musician's words: the features of pulse.py by name, said so that one can check
them by ear or on the score.
"""

from __future__ import annotations

ACCENT_WORDS = {
    "onset": "melody notes",
    "length": "long notes",
    "longer": "notes longer than the one before",
    "leap": "leaps",
    "rest": "accompaniment",
    "low": "bass notes",
    "size": "full chords",
    "change": "changes of harmony",
    "beat harmony": "changes of harmony",
    "bar harmony": "changes of harmony",
    "high": "rises of the melody",
}
LEVEL_WORDS = {
    "bar": "on its bar lines",
    "half": "on its half bars",
    "beat": "on its beats",
    "division": "on the divisions of its beats",
}
ECHO_WORDS = {
    "onset": "the rhythm",
    "pitch": "the melody",
    "rest": "the figure of the accompaniment",
    "low": "the bass",
}
OPENINGS = {
    "upbeat": "its upbeat",
    "last note": "the place of the last note",
    "bars in": "its number of bars",
    "strain of": "the length of the strains",
    "beat of": "how the beat divides",
    "beat length": "the beat's length against the notes",
    "seconds": "the length of its bars",
    "rhythm": "the rhythm against its bar lines",
    "heard": "where such music usually has its bar lines",
    "grid": "how closely the strikes keep its grid",
}


def in_words(feature: str) -> str:
    """A feature's name as words: "low on bar" is "bass notes on its bar lines"."""
    for opening, words in OPENINGS.items():
        if feature.startswith(opening):
            return words
    head, joint, tail = feature.partition(" on ")
    if joint and head in ACCENT_WORDS:
        return f"{ACCENT_WORDS[head]} {LEVEL_WORDS[tail]}"
    head, joint, tail = feature.partition(" after ")
    if joint and head in ECHO_WORDS:
        return f"{ECHO_WORDS[head]} coming back after {tail}"
    return "how common such bars are"


def reasons(features: list[str], count: int = 3) -> str:
    """The first few different reasons, joined: "lost by: ..."."""
    words: list[str] = []
    for feature in features:
        if (said := in_words(feature)) not in words:
            words.append(said)
    return "lost by: " + "; ".join(words[:count])
