"""The score of a planned disc is its tune's, as long as its pins and what is said of them are the plan's."""

from __future__ import annotations

import csv
from fractions import Fraction

from disc.job import open_for_writing
from disc.records import Voice
from disc.tables import format_comb
from disc.tune.read.sections.strains import printed_bars
from disc.tune.store import load_tune
from disc.turn.transcribe_job import transcribe_job

from .small import comb_of
from .test_command import disc_here

# A triplet of 32nds is struck within 50 ms: read from the pins alone it is a chord or ornaments.
SCORE = """X:1
T:Quick
M:2/4
L:1/16
Q:1/4=100
K:C
|:c4 (3d/e/d/cB2|c2e2d4|(3e/f/e/d c2 (3d/e/d/c B2|c8:|
"""


def test_a_plans_own_score_has_its_values_until_pins_or_wishes_change(tmp_path, monkeypatch, capsys) -> None:
    (tmp_path / "quick.abc").write_text(SCORE)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([71, 72, 72, 74, 74, 74, 76, 76, 76, 77])))
    words = ["design", f"{tmp_path}/quick.abc", "--comb", f"{tmp_path}/comb.csv", "--transpose", "0"]
    code, _, err = disc_here(monkeypatch, capsys, *words, "--out", f"{tmp_path}/job")
    assert (code, err) == (0, "")
    folder = tmp_path / "job"

    def written(**given: str) -> list[tuple[Fraction, int]]:
        with open_for_writing(folder) as job:
            made = transcribe_job(job, dict(given))
            tune = load_tune(job)
        assert tune is not None and tune == made.reading.tune
        assert all(note.onset_s is not None and note.tooth for note in tune.notes)
        return [(note.onset_quarter, note.pitch) for note in tune.notes if not note.grace]

    plan = written()
    twelfths = {place % 1 for place, _ in plan}
    assert {Fraction(1, 12), Fraction(1, 6)} & twelfths
    assert written() == plan == written(title="Quicker")  # again, and under another title
    with open_for_writing(folder) as job:
        assert load_tune(job).title == "Quicker" and load_tune(job).repeats  # type: ignore[union-attr]
    pins = folder / "pins.csv"
    rows = list(csv.reader(pins.read_text().splitlines()))
    column = rows[0].index("theta_deg")
    rows[5][column] = str((float(rows[5][column]) + 4.0) % 360)
    pins.write_text("\n".join(",".join(row) for row in rows) + "\n")
    assert written() != plan  # a pin was moved: the turn is read
    assert written(metre="4/4") != plan


SHORT_BAR = """X:1
T:Three beats short
M:2/4
L:1/8
Q:1/4=100
K:C
cdef|gfed|cde|fgfe|dcBc|defg|gfed|c4|]
"""


def test_a_bar_of_another_length_moves_the_lines_after_it(tmp_path, monkeypatch, capsys) -> None:
    """Else every bar after it stands across its line."""
    (tmp_path / "short.abc").write_text(SHORT_BAR)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([71, 72, 72, 74, 74, 76, 76, 77, 77, 79])))
    words = ["design", f"{tmp_path}/short.abc", "--comb", f"{tmp_path}/comb.csv", "--transpose", "0"]
    code, _, err = disc_here(monkeypatch, capsys, *words, "--out", f"{tmp_path}/job")
    assert (code, err) == (0, "")
    with open_for_writing(tmp_path / "job") as job:
        tune = transcribe_job(job).reading.tune
    lines = [bar.start for bar in printed_bars(tune)]
    assert lines == [0, 2, 4, Fraction(11, 2), *(Fraction(11, 2) + 2 * k for k in range(1, 5))]


ENDS_SHORT = """X:1
T:The second time begins early
M:2/4
L:1/8
Q:1/4=100
K:C
|:cdef|gfed|cdef|gfe2|cdef|gfed|cdef|gfe:|
"""


def test_every_pin_is_printed_once_where_a_section_ends_within_a_repeat(tmp_path, monkeypatch, capsys) -> None:
    (tmp_path / "early.abc").write_text(ENDS_SHORT)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([72, 72, 74, 74, 76, 76, 77, 77, 79, 79])))
    words = ["design", f"{tmp_path}/early.abc", "--comb", f"{tmp_path}/comb.csv", "--transpose", "0"]
    code, _, err = disc_here(monkeypatch, capsys, *words, "--out", f"{tmp_path}/job")
    assert (code, err) == (0, "")
    with open_for_writing(tmp_path / "job") as job:
        made = transcribe_job(job)
    assert made.reading.tune.sections and made.reading.tune.repeats
    written = [pin for bar in printed_bars(made.reading.tune) for note in bar.notes for pin in note.pins]
    assert sorted(written) == sorted(strike.pin_id or 0 for strike in made.strikes)


UNISON = """X:1
T:Met
M:2/4
L:1/4
Q:1/4=100
K:C
V:1
c d|e f|g e|d c|]
V:2
C D|E F|G E|D c|]
"""


def test_a_pin_that_plays_two_parts_is_the_melodys(tmp_path, monkeypatch, capsys) -> None:
    (tmp_path / "met.abc").write_text(UNISON)
    (tmp_path / "comb.csv").write_text(format_comb(comb_of([60, 62, 64, 65, 67, 72, 74, 76, 77, 79])))
    words = ["design", f"{tmp_path}/met.abc", "--comb", f"{tmp_path}/comb.csv", "--melody", "1", "--transpose", "0"]
    code, _, err = disc_here(monkeypatch, capsys, *words, "--out", f"{tmp_path}/job")
    assert (code, err) == (0, "")
    with open_for_writing(tmp_path / "job") as job:
        made = transcribe_job(job)
    assert made.reading.melody == ()  # nothing was to be read
    notes = made.reading.tune.notes
    assert len(notes) == len(made.strikes) == 15
    (last,) = [note for note in notes if note.onset_quarter == 7]
    assert last.voice is Voice.MELODY
