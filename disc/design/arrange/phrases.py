"""Where a tune may be cut: bars after which a phrase ends, found in the melody and the bars' numbering."""

from __future__ import annotations

from itertools import pairwise

from disc.tune.score.records import ScoreBar, ScoreIn, ScoreNote

# Points a bar line earns as the end of a phrase. Choices, no source: a section that repeats or begins anew is the
# surest sign, then a rest or a long last note, then the count of bars by fours and eights.
RETURN_OF_A_SECTION = 3.0
SAME_OPENING = 2.0  # a section that begins as another did; as said above
LONG_LAST_NOTE = 1.0  # a rest likewise; as said above
BY_EIGHT, BY_FOUR = 1.5, 0.75  # bars counted in eights, in fours; as said above
# Unless said otherwise: chosen by hand, not measured.
ENOUGH = 1.5  # points that make a bar line an end: a count of eight bars alone, or two weaker signs


def phrase_ends(score: ScoreIn) -> tuple[int, ...]:
    """Numbers of the bars (as played) after which a cut sounds like an end, in order; the last bar always is one."""
    bars = [bar for bar in score.bars if bar.number >= 1]
    if not bars:
        return (score.bars[-1].number,)
    melody = score.melody()
    by_bar = {bar.number: _inside(melody, bar) for bar in bars}
    ends = []
    for bar, after in pairwise(bars):
        points = _count_points(bar.number)
        if _goes_back(bar, after):
            points += RETURN_OF_A_SECTION
        if by_bar[after.number] and by_bar[after.number] == by_bar[bars[0].number]:
            points += SAME_OPENING
        points += LONG_LAST_NOTE * _ends_long(melody, bar)
        if points >= ENOUGH:
            ends.append(bar.number)
    return (*ends, bars[-1].number)


def _count_points(number: int) -> float:
    if number % 8 == 0:
        return BY_EIGHT
    return BY_FOUR if number % 4 == 0 else 0.0


def _goes_back(bar: ScoreBar, after: ScoreBar) -> bool:
    """Whether a repeat sign leads from one bar to the next: the printed numbers do not follow each other."""
    try:
        return int(after.printed) != int(bar.printed) + 1
    except ValueError:
        return False


def _inside(melody: tuple[ScoreNote, ...], bar: ScoreBar) -> tuple[tuple[float, int], ...]:
    return tuple(
        (float(n.onset_quarter - bar.start_quarter), n.pitch)
        for n in melody
        if bar.start_quarter <= n.onset_quarter < bar.end_quarter
    )


def _ends_long(melody: tuple[ScoreNote, ...], bar: ScoreBar) -> bool:
    """Whether the bar's last melody note holds for half the bar or more, or a rest of that length follows it."""
    inside = [n for n in melody if bar.start_quarter <= n.onset_quarter < bar.end_quarter]
    return bool(inside) and bar.end_quarter - inside[-1].onset_quarter >= bar.length_quarter / 2
