"""The package from Python: the same steps as the commands, on the same job folders. `import disc` offers these names.

Each function takes the job's folder, does one step under the job's lock, stores what the command would store, and
returns the records that the step made. Units stand in the names; an unknown is None. What cannot be done raises
disc.errors.DiscError, one line with what to do. Rooms are loaded when a function is called, not before.

A new disc, from a tune and a comb table, and what can then be asked of it (invented material; the folder holds
tune.abc and comb.csv):

>>> import disc
>>> job = disc.design_disc("tune.abc", "my-disc", comb="comb.csv")
>>> len(job.pins()), job.plate.turns.value
(14, 'clockwise')
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from disc.check.check_job import Checked
    from disc.job import Job
    from disc.library.records import Match
    from disc.photo.read_photos import JobReading
    from disc.repin.records import Plan
    from disc.turn.one_turn import OneTurn
    from disc.turn.transcribe_job import Transcription

Folder = str | Path


def open_job(folder: Folder) -> Job:
    """An existing job, for reading: its plate, pins, comb and settings.

    >>> import disc
    >>> job = disc.open_job("my-disc")
    >>> job.pins()[0].side.value, len(job.comb().teeth)
    ('upper', 8)
    """
    from disc.job import open_job as opened

    return opened(Path(folder))


def read_photographs(folder: Folder, upper: Iterable[Folder] = (), lower: Iterable[Folder] = ()) -> JobReading:
    """Read photographs of the faces into the job; where it has a comb, its pins get their teeth.

    A photograph that cannot be used is refused, and the job stays as it was:

    >>> import disc
    >>> disc.read_photographs("my-disc", upper=["comb.csv"])  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    disc.errors.BadInput: ...comb.csv...
    """
    from disc.comb.comb_job import read_and_name
    from disc.job import open_for_writing

    with open_for_writing(Path(folder)) as job:
        return read_and_name(job, upper=tuple(map(Path, upper)), lower=tuple(map(Path, lower)))


def resolve(folder: Folder) -> OneTurn:
    """The job's turn: its pins with their teeth, strikes, bars and tune, and what is doubtful in it. Stores nothing.

    >>> import disc
    >>> turn = disc.resolve("my-disc")
    >>> [round(strike.pitch) for strike in turn.strikes[:4]]
    [72, 72, 79, 79]
    """
    from disc.job import open_job as opened
    from disc.turn.turn_of_job import turn_of_job

    return turn_of_job(opened(Path(folder)))


def transcribe(folder: Folder, **settings: Any) -> Transcription:
    """Read the tune and store it as MIDI, MusicXML and engraved pages. settings: metre "6/8", key "D", title and so on.

    >>> import disc
    >>> made = disc.transcribe("my-disc", title="A star")
    >>> made.reading.tune.metre.beats, made.reading.tune.title
    (4, 'A star')
    """
    from disc.job import open_for_writing
    from disc.turn.transcribe_job import transcribe_job

    with open_for_writing(Path(folder)) as job:
        return transcribe_job(job, settings)


def identify(folder: Folder, top: int = 10) -> list[Match]:
    """The library's tunes that the disc may play, likeliest first. The library is built when first asked (minutes).

    Nothing is stored; to note that a match is this disc's tune, use `disc identify JOB --accept N`.

    >>> import disc
    >>> matches = disc.identify("my-disc", top=3)
    >>> len(matches) <= 3 and all(0 <= match.probability <= 1 for match in matches)
    True
    """
    from disc.library.index.library_store import open_library
    from disc.library.query_in import query_of_job
    from disc.library.search.find_tunes import find_tunes

    query = query_of_job(Path(folder))
    return find_tunes(open_library(lambda done, doing: None).index, query, top)


def check_disc(folder: Folder, tune: Folder | None = None) -> Checked:
    """Find what is missing, bent, out of place or in the way, and store it. tune: a score that the disc is to play.

    >>> import disc
    >>> [finding.kind for finding in disc.check_disc("my-disc", tune="tune.abc").findings]
    []
    """
    from disc.check.check_job import check_job
    from disc.job import open_for_writing

    with open_for_writing(Path(folder)) as job:
        return check_job(job, None if tune is None else Path(tune))


def plan(folder: Folder) -> Plan:
    """The repinning plan: what is done at each place, with drawings and an estimate, stored in the job.

    >>> import disc
    >>> sorted({task.operation.value for station in disc.plan("my-disc").stations for task in station.tasks})
    ['drill', 'set']
    """
    from disc.job import open_for_writing
    from disc.repin.plan_job import PlanSettings, plan_job

    with open_for_writing(Path(folder)) as job:
        return plan_job(job, PlanSettings()).plan


def design_disc(tune: Folder, out: Folder, comb: Folder | None = None, **wishes: Any) -> Job:
    """Lay a tune out for a comb as a new job. wishes: as disc.design.request.Request names them, such as times=2.

    >>> import disc
    >>> disc.design_disc("tune.abc", "my-disc", comb="comb.csv")
    Traceback (most recent call last):
    ...
    disc.errors.BadInput: my-disc: there is a job here already. Choose another folder with --out.
    """
    from disc.design.request import Request, carry_out

    job, _ = carry_out(Request(Path(tune), Path(out), None if comb is None else Path(comb), **wishes))
    return job
