"""Where the `disc` command begins: Ctrl-C is answered in one line while the program is still being loaded, too."""

from __future__ import annotations

import gc
import os

GARBAGE_AFTER = 20_000  # new objects, instead of 700 (2,000 from Python 3.13 on); chosen: more gains nothing


def main() -> None:
    """Load and run the command; exit code 2 if it is stopped before it began or as it ends.

    Linear algebra keeps to one thread unless somebody says otherwise: the matrices here are small, a second thread
    mostly waits, and waiting took a quarter of a transcription's processor time. Numpy asks for it as it is loaded.
    What lies in rings is looked for less often: nearly all that a command loads stays, and looking took 20 ms.
    """
    gc.set_threshold(GARBAGE_AFTER)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from disc.cli import main as run

        run()
    except KeyboardInterrupt:
        os.write(2, b"disc: stopped.\n")
        os._exit(2)  # nothing is in the making: what a command does is answered for in cli.py
