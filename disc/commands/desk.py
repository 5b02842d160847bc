"""`disc desk`: the local page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from disc.words import say, show_json


def desk(
    job: Annotated[Path, typer.Argument(help="The job's folder; a new name starts a job from the page.")],
    earlier: Annotated[
        Path | None, typer.Option(help="A job with an earlier reading of the same disc, to compare with.")
    ] = None,
    port: Annotated[int, typer.Option(help="Port on 127.0.0.1; 0: any free one.", min=0, max=65535)] = 0,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print the address as JSON.")] = False,
) -> None:
    """The local page: look, correct, listen, compare. Ends with Ctrl-C."""
    from disc.desk.server.server import run_desk

    def opened(address: str, entry: Path) -> None:
        if as_json:
            show_json({"address": address, "job": job})
        else:
            say(f"The desk of {job}: {address}", "For this machine and this user only. End it with Ctrl-C.")
        sys.stdout.flush()
        if browser:
            import threading
            import webbrowser

            # Not the address itself: the key in it would stand in the list of processes for all users to read. Beside
            # the desk, since a browser for the terminal returns only when it is left, and needs answers until then.
            threading.Thread(target=webbrowser.open, args=(entry.as_uri(),), daemon=True).start()

    run_desk(job, opened, port, earlier)
