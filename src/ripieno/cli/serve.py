"""`ripieno serve`: the daemon. As `play`, without a screen or anybody to type."""

import argparse
from contextlib import suppress

from ripieno.cli.hosting import add_hosting, hosted, say_on_stderr, signals
from ripieno.wire.command import Reload


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "serve",
        help="play without a screen, until told to end",
        description="Plays, takes commands from 'ripieno tell', and waits for instruments that "
        "are not there yet. Prints what it plays on and when it is ready, and on standard error "
        "what changes. The signals TERM and INT end it in order, HUP reloads, USR1 silences. "
        "Start with the volume low.",
    )
    add_hosting(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play until a signal. Raises AuthorError, MachineError."""
    with hosted(args, say_on_stderr) as (host, said), signals(host, hang_up=Reload()):
        with suppress(OSError):  # whoever began it may not have stayed to read
            print(*said, "ready to play", sep="\n", flush=True)
        host.run()
    return 0
