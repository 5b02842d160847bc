"""News for the open pages: each page holds one stream (server-sent events) and hears of every change at once."""

from __future__ import annotations

import asyncio
import json
from typing import Any

# Unless said otherwise: chosen by hand, not measured.
# A page that does not read its stream is dropped after this many unread messages: it reloads everything on return.
LONGEST_QUEUE = 200


class News:
    """Hands each message to all open streams. send() may be called from any thread."""

    def __init__(self) -> None:
        self._streams: set[asyncio.Queue[str | None]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None

    def bind(self, loop: asyncio.AbstractEventLoop) -> None:
        """Say on which event loop the streams live."""
        self._loop = loop

    def open_stream(self) -> asyncio.Queue[str | None]:
        """A new stream; None in it means: end."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(LONGEST_QUEUE)
        self._streams.add(queue)
        return queue

    def close_stream(self, queue: asyncio.Queue[str | None]) -> None:
        """The page has gone."""
        self._streams.discard(queue)

    def send(self, kind: str, content: Any) -> None:
        """One message to every page. kind: the event's name; content: plain JSON."""
        if self._loop is None or self._loop.is_closed():
            return
        text = f"event: {kind}\ndata: {json.dumps(content, ensure_ascii=False)}\n\n"
        self._loop.call_soon_threadsafe(self._hand_out, text)

    def close(self) -> None:
        """End all streams."""
        for queue in list(self._streams):
            self._put(queue, None)

    def _hand_out(self, text: str) -> None:
        for queue in list(self._streams):
            self._put(queue, text)

    def _put(self, queue: asyncio.Queue[str | None], text: str | None) -> None:
        try:
            queue.put_nowait(text)
        except asyncio.QueueFull:
            self._streams.discard(queue)
