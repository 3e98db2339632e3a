"""Everything ripieno refuses, by who can mend it.

Each error is one line: where, what was found, what was expected, what to do.
`exit_status` is the command line's answer to it.
"""

from typing import ClassVar


class RipienoError(Exception):
    """What ripieno refuses. Raised only as one of its subclasses."""

    exit_status: ClassVar[int] = 1


class AuthorError(RipienoError):
    """A file or an argument's content is wrong: its author can mend it."""

    exit_status = 1


class UsageError(RipienoError):
    """The command was called in a way it does not have."""

    exit_status = 2


class MachineError(RipienoError):
    """The machine refuses: no such port, no MIDI system, no permission."""

    exit_status = 3
