"""`ripieno dashboard`: a screen for a running daemon."""

import argparse
import os
import sys

from ripieno.errors import UsageError
from ripieno.link.endpoint import own_endpoint

LOOKS = ("dark", "light")


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "dashboard",
        help="a screen for a running daemon: what is played, and every control",
        description="Shows what 'ripieno serve' plays, and has a key for every control; the "
        "last lines of the screen name them. It may come and go while music plays, and waits "
        "for a daemon that is not there. q leaves it.",
    )
    parser.add_argument(
        "--look", choices=LOOKS, default=LOOKS[0], help="of the screen (default: %(default)s)"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Show it until told to leave. Raises UsageError, MachineError."""
    check_terminal()
    endpoint = own_endpoint()
    from ripieno.dashboard.app import run_dashboard  # takes a third of a second

    status = run_dashboard(endpoint, look=args.look)
    _leave_dead_terminal()
    return status


def _leave_dead_terminal() -> None:
    """What could not be drawn on a terminal that is gone must not fail again at the end."""
    for stream in (sys.__stdout__, sys.__stderr__):
        assert stream is not None, "check_terminal has seen it"
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def check_terminal() -> None:
    """Raises UsageError unless there is a terminal to draw on and to read keys from.

    The screen is drawn on standard error, where Textual draws.
    """
    ends = (sys.__stdin__, sys.__stderr__, sys.__stdout__)
    is_terminal = all(end is not None and end.isatty() for end in ends)
    if not is_terminal or os.environ.get("TERM", "") in ("", "dumb"):
        raise UsageError(
            "a dashboard needs a terminal to draw on; 'ripieno tell status' says the same in lines"
        )
