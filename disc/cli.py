"""The `disc` command: arguments in, words out. Nothing is computed here; each command lives in commands/.

A command module imports typer and the ground floor only; the rooms it calls are imported inside the command, so that
`disc --help` answers at once. DiscError becomes one line on standard error and exit code 2, here and nowhere else.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Iterable

import typer

from disc import __version__
from disc.errors import DiscError
from disc.terminal import one_line, prepare_streams

# Each command's module in commands/ and its name there, in the order in which --help shows them.
COMMANDS = {
    "demo": ("demo", "demo"),
    "start": ("start", "start"),
    "set": ("start", "set_plate"),
    "take": ("undo", "take"),
    "undo": ("undo", "undo"),
    "collect": ("collect", "collect"),
    "desk": ("desk", "desk"),
    "log": ("log", "log"),
    "report": ("report", "report"),
    "read": ("read", "read"),
    "comb": ("comb", "comb"),
    "design": ("design", "design"),
    "check": ("check", "check"),
    "drill": ("drill", "drill"),
    "offer": ("offer", "offer"),
    "object": ("object_sheet", "object_sheet"),
    "archive": ("archive", "archive"),
    "identify": ("identify", "identify"),
    "library": ("library", "library"),
    "listen": ("listen", "listen"),
    "repin": ("repin", "repin"),
    "sheet": ("sheet", "sheet"),
    "transcribe": ("transcribe", "transcribe"),
}

FAULT = 1  # exit code of a fault in the program itself; bad use and bad input are 2 (chosen, common practice)
# What typer raises for bad use. It may carry its own copy of click, so the class is taken from typer itself.
BAD_USE = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")


def _show_version(wanted: bool) -> None:
    if wanted:
        print(f"disc {__version__}")
        raise typer.Exit


def _options(
    context: typer.Context,
    version: bool = typer.Option(False, "--version", callback=_show_version, is_eager=True, help="Say the version."),
) -> None:
    """Reads, checks, repairs and designs the pinned discs of antique musical watches."""
    if context.invoked_subcommand is None:
        print(context.get_help())


def app_with(names: Iterable[str]) -> typer.Typer:
    """The program with some of its commands: making all ready takes longer than many a command itself."""
    app = typer.Typer(
        name="disc",
        help="Reads, checks, repairs and designs the pinned discs of antique musical watches.",
        invoke_without_command=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
    )
    app.callback()(_options)
    for name in names:
        module, function = COMMANDS[name]
        command = getattr(importlib.import_module(f"disc.commands.{module}"), function)
        if isinstance(command, typer.Typer):
            app.add_typer(command, name=name)
        else:
            app.command(name)(command)
    return app


# Options that may be followed by several values, as in `disc read JOB --upper a.jpg b.jpg`.
SEVERAL = frozenset({"--upper", "--lower", "--rim-upper", "--rim-lower", "--closer-upper", "--closer-lower"})


def repeat_options(arguments: list[str]) -> list[str]:
    """`read JOB --upper a b` as `read JOB --upper a --upper b`, the only form that the parser knows.

    Only where the job's folder comes first, so that it is never taken for a value.
    """
    if len(arguments) < 2 or arguments[0] != "read" or arguments[1].startswith("-"):
        return arguments
    spread: list[str] = []
    several, values = "", 0
    for word in arguments:
        if word.startswith("--"):
            several, values = (word if word in SEVERAL else ""), 0
        elif several:
            spread += [several] if values else []
            values += 1
        spread.append(word)
    return spread


# What typer makes of Ctrl-C in a command, without a word: 128 + SIGINT, as shells count. Older versions raise Abort.
INTERRUPTED = 130  # common practice of shells


def main() -> None:
    """Run a command; exit code 0 on success, 2 on bad use or bad input with one line on standard error."""
    asked = [name for name in sys.argv[1:2] if name in COMMANDS]
    command = typer.main.get_command(app_with(asked or COMMANDS))
    prepare_streams()
    try:
        code = command.main(args=repeat_options(sys.argv[1:]), prog_name="disc", standalone_mode=False)
        if code == INTERRUPTED:
            raise KeyboardInterrupt
    except BAD_USE as error:  # type: ignore[misc]
        context = getattr(error, "ctx", None)
        where = context.command_path if context else "disc"
        code = _fail(f"{error.format_message()} See: {where} --help")
    except DiscError as error:
        code = _fail(str(error))
    except (KeyboardInterrupt, typer.Abort):
        code = _fail(f"stopped; {_what_stands()}")
    except BrokenPipeError:
        code = 0
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115  # nothing more is flushed into the pipe
    except OSError as error:
        code = _fail(f"{error.filename or 'a file'}: {error.strerror or error}. Check the place and its free room.")
    except Exception as error:
        if os.environ.get("DISC_TRACEBACK"):
            raise
        what = f"{type(error).__name__}: {' '.join(str(error).split())[:200]}"
        _fail(
            f"a fault in the program ({what}); {_what_stands()} Set DISC_TRACEBACK=1 and run this again to see where."
        )
        code = FAULT
    sys.exit(code if isinstance(code, int) else 0)


def _what_stands() -> str:
    """Whether this command has already changed a job, in words."""
    journal = sys.modules.get("disc.job.journal")
    if journal is not None and journal.steps_done():
        return "what was written before that is kept, whole."
    return "the job is as it was before this command."


def _fail(words: str) -> int:
    try:
        print(f"disc: {one_line(words)}", file=sys.stderr)
    except (OSError, ValueError):  # a closed stream takes no words; the exit code still tells
        # What waits in the old one would be tried again as Python ends, which then changes the exit code.
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    return 2
