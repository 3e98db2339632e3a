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

    return run_dashboard(endpoint, look=args.look)


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
