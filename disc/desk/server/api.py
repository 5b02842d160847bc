"""What the page may ask for: one handler a question, each only translating between JSON and the session."""

from __future__ import annotations

from pathlib import Path
from typing import IO, Any
from urllib.parse import unquote

from tornado import web

from disc.desk.open_job.changes import plate_changes, told_of_values
from disc.desk.open_job.saved import own_file, saved_files
from disc.desk.open_job.session import Session
from disc.desk.page import pictures
from disc.desk.page.state import page_state
from disc.desk.page.tongue import page_tongue
from disc.desk.server.guard import Guard
from disc.desk.server.handlers import DeskHandler, NewsStream, PageHandler, StaticPart
from disc.desk.work import comb_hand, comb_photo, compare, tasks, uploads
from disc.desk.work.bars import say_of_bar
from disc.desk.work.decide import decide
from disc.desk.work.mark_place import mark_place
from disc.desk.work.notes_hand import say_of_notes
from disc.desk.work.read_photos import needs_reading
from disc.desk.work.settings import settings_changes
from disc.desk.work.sounds import tooth_wav
from disc.desk.work.uploads import LARGEST_BYTES
from disc.errors import BadInput, MissingPart
from disc.listen.kept_recordings import SOUND_ENDINGS, recording_path, recordings_of

# A report or drawing may style itself and carry its own pictures; it runs nothing and loads nothing.
MADE_FILE_POLICY = "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:"


class State(DeskHandler):
    """Everything the page shows."""

    async def get(self) -> None:
        """The whole state as JSON."""
        self.finish(await self.aside(page_state, self.session))


class EditPins(DeskHandler):
    """One edit of pins."""

    async def post(self) -> None:
        """Body: see edits.py. Answers with the pins that changed."""
        self.finish(await self.in_bench(self.session.change, self.json_body()))


class GoTo(DeskHandler):
    """Undo and redo."""

    async def post(self) -> None:
        """Body: {"to": number of steps in force}. Answers with the pins that changed, or with the whole state where
        the steps between changed more than pins.
        """
        count = self.json_body().get("to")
        if not isinstance(count, int) or isinstance(count, bool):
            raise BadInput("undo needs the number of a step.")
        changed, only_pins = await self.in_bench(self.session.go_to, count)
        self.finish(changed if only_pins else await self.aside(page_state, self.session))


class SetValues(DeskHandler):
    """Plate and settings."""

    async def post(self) -> None:
        """Body: {"plate": {...}, "settings": {...}}, or {"place": {"what": slot | centre, "sheet", "at"}}."""
        body = self.json_body()
        job = _job(self.session)
        plate, settings, place = (_object(body, name) for name in ("plate", "settings", "place"))
        if place:
            await self.in_bench(mark_place, self.session, place)
            self.finish(await self.aside(page_state, self.session))
            return
        changes = plate_changes(job, plate) + settings_changes(job, self.session, settings)
        if needs_reading(job, changes):
            told = await self.in_bench(tasks.run_task, self.session, {"do": "plate", "plate": plate}, self.uploads)
            self.finish({"told": told} | await self.aside(page_state, self.session))
            return
        await self.in_bench(self.session.set_values, told_of_values(changes), changes)
        self.finish(await self.aside(page_state, self.session))

    uploads: Path


class SayOfBar(DeskHandler):
    """A bar line moved, another metre or a new tune from a bar on."""

    async def post(self) -> None:
        """Body: see bars.py."""
        await self.in_bench(say_of_bar, self.session, self.json_body())
        self.finish(await self.aside(page_state, self.session))


class SayOfNotes(DeskHandler):
    """Single notes held, ornaments, melody."""

    async def post(self) -> None:
        """Body: see notes_hand.py."""
        await self.in_bench(say_of_notes, self.session, self.json_body())
        self.finish(await self.aside(page_state, self.session))


class Decide(DeskHandler):
    """Accept, reject, leave in doubt."""

    async def post(self) -> None:
        """Body: see decide.py."""
        await self.in_bench(decide, self.session, self.json_body())
        self.finish(await self.aside(page_state, self.session))


class RunTask(DeskHandler):
    """A longer step, with progress as news."""

    async def post(self) -> None:
        """Body: {"do": name, ...}; see tasks.py. Answers when the step has ended."""
        body = self.json_body()
        told = await self.in_bench(tasks.run_task, self.session, body, self.uploads)
        self.finish({"told": told} | await self.aside(page_state, self.session))

    uploads: Path


class StopTask(DeskHandler):
    """The end of a longer step before its time."""

    def post(self) -> None:
        """No body. The step ends at its next breath and leaves the job as it was."""
        self.session.stop.set()
        self.finish({})


class Upload(DeskHandler):
    """A photograph or a recording, kept aside until a step takes it into the job."""

    uploads: Path
    longest_body = LARGEST_BYTES
    _arriving: IO[bytes] | None = None

    def data_received(self, chunk: bytes) -> None:
        """A piece of the file goes to the disk at once, so that many files at a time need no memory."""
        if self._is_too_long:
            return
        if self._arriving is None:
            self._arriving = uploads.arriving(self.uploads)
        if self._arriving.tell() + len(chunk) > self.longest_body:
            raise web.HTTPError(400, "The file is too long.")
        self._arriving.write(chunk)

    async def put(self, kind: str) -> None:
        """Body: the file. Heading X-Name: its name."""
        self.refuse_too_long()
        name = unquote(self.request.headers.get("X-Name", ""))
        if self._arriving is None:
            self._arriving = uploads.arriving(self.uploads)
        self._arriving.close()
        self.finish(await self.aside(uploads.take, self.uploads, kind, name, Path(self._arriving.name)))

    def on_finish(self) -> None:
        """What no step can use any more is not left lying about."""
        if self._arriving is not None:
            self._arriving.close()
            Path(self._arriving.name).unlink(missing_ok=True)

    on_connection_close = on_finish


class PictureHandler(DeskHandler):
    """The picture of a sheet, or another reading's."""

    earlier: Path | None

    async def get(self, name: str) -> None:
        """Bytes of a JPEG or PNG."""
        kind, data = await self.aside(pictures.picture, self.session, self.earlier, name)
        self.set_header("Content-Type", kind)
        self.set_header("Cache-Control", "private, max-age=3600")  # the address changes with the picture
        self.finish(data)


class ToothSound(DeskHandler):
    """One tooth plucked."""

    async def get(self, number: str) -> None:
        """A WAV file."""
        data = await self.aside(tooth_wav, self.session.comb, int(number))
        self.set_header("Content-Type", "audio/wav")
        self.finish(data)


class Score(DeskHandler):
    """The engraved score of the tune as it stands."""

    async def get(self) -> None:
        """{"pages": [svg, ...], "notes": {note id: [pins]}}"""
        from disc.desk.page.score import page_score

        self.finish(await self.aside(page_score, self.session))


class Print(DeskHandler):
    """The disc's tune as it is printed, laid over the turn."""

    async def get(self) -> None:
        """See printed.py."""
        from disc.desk.work.printed import page_print  # brings in scipy, which the page must not wait for

        self.finish(await self.aside(page_print, self.session))


class Earlier(DeskHandler):
    """An earlier reading of the same disc."""

    earlier: Path | None

    async def get(self) -> None:
        """Its pins and what differs; see compare.py."""
        which = self.get_query_argument("with", "first")
        self.finish(await self.aside(compare.comparison, self.session, self.earlier, which))


class CombMarks(DeskHandler):
    """The comb from marks on a photograph."""

    async def post(self) -> None:
        """Body: see comb_photo.py; {"try": true} only measures."""
        body = self.json_body()
        if body.get("try"):
            self.finish(await self.aside(comb_photo.measured, self.session, body))
            return
        await self.in_bench(comb_photo.keep, self.session, body, self.uploads)
        self.finish(await self.aside(page_state, self.session))

    uploads: Path


class CombTable(DeskHandler):
    """The comb's table by hand, or pitches heard put to their teeth."""

    async def post(self) -> None:
        """Body: see comb_hand.py; "teeth" keeps pitches, "rows" writes the table, "forget" drops what was heard."""
        body = self.json_body()
        if body.get("forget"):
            self.session.plucked = None
        else:
            work = comb_hand.keep_pitches if "teeth" in body else comb_hand.write_table
            await self.in_bench(work, self.session, body)
        self.finish(await self.aside(page_state, self.session))

    async def get(self) -> None:
        """The teeth there must be by the tracks, where there is no comb yet: [[number, side, radius in mm], ...]"""
        comb = self.session.comb or await self.aside(comb_hand.tracks_comb, self.session)
        self.finish({"teeth": [[tooth.number, tooth.side.value, round(tooth.tip_r_mm, 2)] for tooth in comb.teeth]})


class WordsHandler(DeskHandler):
    """What the page says, in a language."""

    async def get(self) -> None:
        """See page/tongue.py."""
        self.finish(await self.aside(page_tongue, self.get_query_argument("language", "")))


class UploadedSound(DeskHandler):
    """A recording just brought, before anything is taken from it."""

    uploads: Path

    def get(self, token: str) -> None:
        """The sound file."""
        path = uploads.path_of(self.uploads, token)
        if path.suffix.lower() not in SOUND_ENDINGS:
            raise web.HTTPError(404, "That is no recording.")
        self.send_part(path)


class UploadedPicture(DeskHandler):
    """A picture just brought, before it belongs to the job."""

    uploads: Path

    async def get(self, token: str) -> None:
        """A JPEG or PNG."""
        kind, data = await self.aside(pictures.browser_picture, uploads.path_of(self.uploads, token))
        self.set_header("Content-Type", kind)
        self.finish(data)


class MadeFile(DeskHandler):
    """A file of the job's out folder, or one of its tables."""

    async def get(self, name: str) -> None:
        """The file as a download, or shown where it is a picture."""
        job = _job(self.session)
        if name not in {file["name"] for file in saved_files(job)}:
            raise web.HTTPError(404, "There is no such file in this job.")
        self.set_header("Content-Security-Policy", MADE_FILE_POLICY)
        self.send_file(own_file(job, job.path(name)), as_download=self.get_query_argument("save", "") == "1")


class RecordingHandler(DeskHandler):
    """A recording of the movement that belongs to the job."""

    def get(self, name: str) -> None:
        """The sound file."""
        job = _job(self.session)
        if name not in recordings_of(job):
            raise web.HTTPError(404, "There is no such recording in this job.")
        self.send_part(own_file(job, recording_path(job, name)))


class HeardTurn(DeskHandler):
    """The recorded turn that was last compared with the pins, as it was listened to."""

    def get(self) -> None:
        """The sound file."""
        from disc.listen.store import SOUND_FILE  # brings in scipy, which the page must not wait for

        job = _job(self.session)
        self.send_part(own_file(job, job.path(SOUND_FILE)))


def _job(session: Session) -> Any:
    if session.job is None:
        raise MissingPart("There is no job here yet. Start one first.")
    return session.job


def _object(body: dict[str, Any], name: str) -> dict[str, Any]:
    """A part of a request, empty where it is left out. Raises BadInput."""
    value = body.get(name) or {}
    if not isinstance(value, dict):
        raise BadInput(f"{name} is not an object.")
    return value


def make_application(session: Session, rules: Guard, upload_folder: Path, earlier: Path | None) -> web.Application:
    """All addresses of the desk."""
    parts: dict[str, Any] = {"session": session, "rules": rules}
    with_uploads = parts | {"uploads": upload_folder}
    with_earlier = parts | {"earlier": earlier}
    return web.Application(
        [
            (r"/", PageHandler, parts),
            (r"/static/([A-Za-z0-9_./-]+)", StaticPart, parts),
            (r"/api/news", NewsStream, parts),
            (r"/api/words", WordsHandler, parts),
            (r"/api/state", State, parts),
            (r"/api/edit", EditPins, parts),
            (r"/api/history", GoTo, parts),
            (r"/api/set", SetValues, with_uploads),
            (r"/api/decide", Decide, parts),
            (r"/api/bars", SayOfBar, parts),
            (r"/api/notes", SayOfNotes, parts),
            (r"/api/task", RunTask, with_uploads),
            (r"/api/stop", StopTask, parts),
            (r"/api/upload/(photo|comb|recording|score|table)", Upload, with_uploads),
            (r"/api/comb-table", CombTable, parts),
            (r"/api/uploaded-sound/([0-9a-f]+)", UploadedSound, with_uploads),
            (r"/api/uploaded/([0-9a-f]+)", UploadedPicture, with_uploads),
            (r"/api/picture/([a-z0-9-]+)", PictureHandler, with_earlier),
            (r"/api/tooth/([0-9]{1,6})", ToothSound, parts),
            (r"/api/score", Score, parts),
            (r"/api/print", Print, parts),
            (r"/api/earlier", Earlier, with_earlier),
            (r"/api/comb-marks", CombMarks, with_uploads),
            (r"/api/recording/([^/]+)", RecordingHandler, parts),
            (r"/api/heard-turn", HeardTurn, parts),
            (r"/files/(.+)", MadeFile, parts),
        ],
        default_handler_class=_Nothing,
        default_handler_args=parts,
    )


class _Nothing(DeskHandler):
    """Any other address."""

    def prepare(self) -> None:
        """Guard first, then: nothing here."""
        super().prepare()
        if not self._finished:
            raise web.HTTPError(404, "There is nothing at this address.")
