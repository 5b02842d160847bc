"""Where the `disc` command begins: Ctrl-C is answered in one line while the program is still being loaded, too."""

from __future__ import annotations


def main() -> None:
    """Load and run the command; exit code 2 if it is stopped before it began or as it ends."""
    try:
        from disc.cli import main as run

        run()
    except KeyboardInterrupt:
        import os

        os.write(2, b"disc: stopped.\n")
        os._exit(2)  # nothing is in the making: what a command does is answered for in cli.py
