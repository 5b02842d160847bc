"""What every request goes through first (guard.py), and the handlers of the page itself and of its news."""

from __future__ import annotations

import asyncio
import json
import logging
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

from tornado import iostream, web

from disc.desk.open_job.session import Session
from disc.desk.page.words import page_words
from disc.desk.server.guard import HEADINGS, PAGE_HEADING, Guard
from disc.errors import BadInput, DiscError, JobBusy, MissingPart

log = logging.getLogger(__name__)
STATIC = Path(__file__).parents[1] / "page" / "static"
KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".wav": "audio/wav",
    ".flac": "audio/flac",
    ".ogg": "audio/ogg",
    ".mp3": "audio/mpeg",
    ".pdf": "application/pdf",
    ".json": "application/json",
    ".csv": "text/csv; charset=utf-8",
    ".txt": "text/plain; charset=utf-8",
    ".mid": "audio/midi",
    ".musicxml": "application/vnd.recordare.musicxml+xml",
}
LONGEST_REQUEST_BYTES = 1_000_000  # of an edit, chosen by hand; photographs have a limit of their own
# over the limit, still read to the end so that the refusal arrives; common practice, no source
READ_AWAY_BYTES = 4_000_000
# Unless said otherwise: chosen by hand, not measured.
STREAM_PULSE_S = 1.0  # a pulse is sent this often: a page that hears none for some seconds knows that its desk is gone


@web.stream_request_body
class DeskHandler(web.RequestHandler):
    """A request that has passed the guard. Faults become JSON with plain words, never a traceback.

    Guard and length are looked at before any of the body is read; a body comes in by pieces (data_received).
    """

    session: Session
    rules: Guard
    longest_body = LONGEST_REQUEST_BYTES

    def initialize(self, session: Session, rules: Guard, **more: Any) -> None:
        """Called by tornado for each request."""
        self.session, self.rules = session, rules
        self._body = bytearray()
        self._is_too_long = False
        for name, value in more.items():
            setattr(self, name, value)

    def set_default_headers(self) -> None:
        """Headings of every answer."""
        self.clear_header("Server")
        for name, value in HEADINGS.items():
            self.set_header(name, value)

    def prepare(self) -> None:
        """Refuse what the guard refuses, before anything is done."""
        host = self.request.headers.get("Host", "")
        fault = self.rules.host_fault(host) or self.rules.origin_fault(self.request.headers.get("Origin"), host)
        if fault is None and not self.rules.is_key(self.get_cookie(self.rules.cookie_name)):
            fault = self._take_key()
        if fault is None and self.request.method not in ("GET", "HEAD") and PAGE_HEADING not in self.request.headers:
            fault = "only the desk's own page may change something"
        if fault is not None:
            self.set_status(403)
            self.finish({"error": f"Refused: {fault}."})
            return
        length = self.request.headers.get("Content-Length", "0")
        self.request.connection.set_max_body_size(self.longest_body + READ_AWAY_BYTES)  # type: ignore[union-attr]
        # What is a little too long is read to its end and thrown away: answered sooner, the connection is closed under
        # the hands of who is still sending, and the answer may not arrive.
        self._is_too_long = not length.isdigit() or int(length) > self.longest_body
        if self._is_too_long and not (length.isdigit() and int(length) <= self.longest_body + READ_AWAY_BYTES):
            self.set_status(400)
            self.finish({"error": self._too_long()})

    def _too_long(self) -> str:
        return f"That is too long: at most {self.longest_body / 1e6:g} MB are taken."

    def refuse_too_long(self) -> None:
        """Raises BadInput where the body, now read to its end, was longer than is taken."""
        if self._is_too_long:
            raise BadInput(self._too_long())

    def data_received(self, chunk: bytes) -> None:
        """A piece of the body; of one that announced no length, too."""
        if self._is_too_long:
            return
        if len(self._body) + len(chunk) > LONGEST_REQUEST_BYTES:
            raise web.HTTPError(400, "The request is too long.")
        self._body += chunk

    def _take_key(self) -> str | None:
        """Let a first request in by the key in its address, and move the key into a cookie."""
        if not self.rules.is_key(self.get_query_argument("key", None)):
            return "this request does not carry the desk's key. Open the address that disc desk printed"
        self.set_cookie(self.rules.cookie_name, self.rules.key, path="/", httponly=True, samesite="Strict")
        if self.request.path == "/":
            self.redirect("/")
        return None

    def json_body(self) -> dict[str, Any]:
        """The request's JSON object. Raises BadInput."""
        self.refuse_too_long()
        try:
            content = json.loads(bytes(self._body) or b"{}")
        except (ValueError, RecursionError):
            raise BadInput("the request cannot be read.") from None
        if not isinstance(content, dict):
            raise BadInput("the request is not an object.")
        return content

    async def in_bench(self, work: Callable[..., Any], *args: Any) -> Any:
        """Run a change in the writing thread, after those that were asked for before it."""
        return await asyncio.get_running_loop().run_in_executor(self.session.bench, work, *args)

    async def aside(self, work: Callable[..., Any], *args: Any) -> Any:
        """Run reading work beside the event loop."""
        return await asyncio.get_running_loop().run_in_executor(None, work, *args)

    def write_error(self, status_code: int, **kwargs: Any) -> None:
        """Any fault as JSON in plain words."""
        error = kwargs["exc_info"][1] if "exc_info" in kwargs else None
        if isinstance(error, DiscError):
            self.set_status({JobBusy: 409, MissingPart: 404, BadInput: 400}.get(type(error), 500))
            self.finish({"error": page_words(str(error), self.session.folder)})
        elif isinstance(error, web.HTTPError):
            self.finish({"error": error.log_message or self._reason})
        else:
            self.finish({"error": "The desk made a mistake; the job on disk is whole. See the terminal."})

    def log_exception(self, typ: Any, value: Any, tb: Any) -> None:
        """Faults of the person's input are no faults of the program."""
        if not isinstance(value, DiscError | web.HTTPError | iostream.StreamClosedError):
            log.error("in %s", self.request.path, exc_info=(typ, value, tb))

    def send_file(self, path: Path, as_download: bool = False) -> None:
        """A whole file. Its kind follows from its ending."""
        if not path.is_file():
            raise web.HTTPError(404, "There is no such file.")
        self.set_header("Content-Type", KINDS.get(path.suffix.lower(), "application/octet-stream"))
        if as_download:
            plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in path.name)
            named = quote(path.name)  # RFC 6266, 4.3: the name in any script beside the plain one
            self.set_header("Content-Disposition", f"attachment; filename=\"{plain}\"; filename*=UTF-8''{named}")
        self.finish(path.read_bytes())

    def send_part(self, path: Path) -> None:
        """A file, or the part of it that was asked for (RFC 9110, 14.2, one range): a player can go to any place."""
        if not path.is_file():
            raise web.HTTPError(404, "There is no such file.")
        self.set_header("Accept-Ranges", "bytes")
        data = path.read_bytes()
        asked = re.fullmatch(r"bytes=(\d+)-(\d*)", self.request.headers.get("Range", ""))
        if asked is None or int(asked[1]) >= len(data):
            self.send_file(path)
            return
        first, last = int(asked[1]), min(int(asked[2] or len(data)), len(data) - 1)
        self.set_status(206)
        self.set_header("Content-Type", KINDS.get(path.suffix.lower(), "application/octet-stream"))
        self.set_header("Content-Range", f"bytes {first}-{last}/{len(data)}")
        self.finish(data[first : last + 1])


class PageHandler(DeskHandler):
    """The page."""

    def get(self) -> None:
        """index.html."""
        if not self._finished:
            self.send_file(STATIC / "index.html")


class StaticPart(DeskHandler):
    """Style, scripts and pictures of the page."""

    def get(self, name: str) -> None:
        """A file below static/."""
        path = (STATIC / name).resolve()
        if not path.is_relative_to(STATIC.resolve()):
            raise web.HTTPError(404, "There is no such file.")
        self.send_file(path)


class NewsStream(DeskHandler):
    """Server-sent events."""

    async def get(self) -> None:
        """Stays open as long as the page."""
        self.set_header("Content-Type", "text/event-stream")
        queue = self.session.news.open_stream()
        try:
            self.write(": here\n\n")
            await self.flush()
            while True:
                try:
                    text = await asyncio.wait_for(queue.get(), STREAM_PULSE_S)
                except TimeoutError:
                    text = "event: pulse\ndata: {}\n\n"
                if text is None:
                    return
                self.write(text)
                await self.flush()
        except iostream.StreamClosedError:
            return
        finally:
            self.session.news.close_stream(queue)
