"""What the program says when it cannot go on. This module imports nothing, so every room may raise from it.

cli.py alone turns these into one line on standard error and exit code 2. Finding nothing is a result, not an error.
"""


class DiscError(Exception):
    """One clear line for the person at the bench: what is wrong, where, and what to do.

    One line even where it quotes a damaged file whose words run over several.
    """

    def __str__(self) -> str:
        return " ".join(super().__str__().splitlines())


class BadInput(DiscError):
    """A file, a table or an argument that cannot be used as it is."""


class JobBusy(DiscError):
    """Another command is working on the same job folder."""


class MissingPart(DiscError):
    """Something the machine or the job lacks: a system library, a table, an earlier step."""
