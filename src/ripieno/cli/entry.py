"""The command `ripieno`: finds the command's file, runs it, turns refusals into one line."""

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from ripieno import __version__
from ripieno.errors import MachineError, RipienoError, UsageError

if TYPE_CHECKING:
    from ripieno.engine.spawn import Spawned

# A command's module is imported only when it is called, so that `name` does not wait for MIDI.
COMMANDS = {
    "demo": "hear and see it play by itself",
    "play": "play: chords in from a keyboard, accompaniment out",
    "serve": "play without a screen, until told to end",
    "dashboard": "a screen for a running daemon: what is played, and every control",
    "tell": "tell a running daemon what to play, or ask how it is",
    "silence": "silence the daemon, or what one that was killed has left sounding",
    "latency": "how long a note takes on this machine, measured and judged",
    "ports": "the MIDI ports found, and which would be used and why",
    "styles": "the styles, or one explained",
    "name": "what chord these keys are",
    "render": "play a MIDI file of chords into a MIDI file, faster than time",
    "replay": "play a recorded session again",
    "completion": "the script that lets a shell complete commands",
    "check": "find every fault in style files and in the configuration",
}

# Those that play in an engine's process. It begins before their modules are imported, for both
# take about as long, and there is mostly more than one processor.
_PLAYING = ("play", "serve")
_ASKING = ("-h", "--help", "--version")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line. Returns the exit status: 0 done, 1 found wrong, 2 usage, 3 machine."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    _open_closed_streams()
    try:
        _find_home()
        with _begun(arguments) as engine:
            args = _parser(arguments).parse_args(arguments, argparse.Namespace(engine=engine))
            status: int = args.run(args)
        sys.stdout.flush()
    except RipienoError as refusal:
        for line in str(refusal).splitlines():
            print(f"ripieno: {line}", file=sys.stderr)
        return refusal.exit_status
    except BrokenPipeError:  # the reader of our output, such as `head`, has seen enough
        return 0
    except KeyboardInterrupt:
        return 130
    finally:
        _leave_dead_streams()
    return status


def _find_home() -> None:
    """Raises MachineError where neither the environment nor the system's list of users has one."""
    try:
        Path.home()
    except RuntimeError:
        raise MachineError("no home folder is known for this user; set HOME to one") from None


def _leave_dead_streams() -> None:
    """What a reader or a terminal that is gone has not taken must not fail again at the end."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


@contextmanager
def _begun(arguments: Sequence[str]) -> "Iterator[Spawned | None]":
    """The engine's process of a command that plays, ended with the context; None for another."""
    if _called(arguments) not in _PLAYING or any(word in _ASKING for word in arguments):
        yield None
        return
    from ripieno.engine.spawn import spawned  # some ms, which `name` can do without

    with spawned() as engine:
        yield engine


def _called(arguments: Sequence[str]) -> str | None:
    return next((word for word in arguments if not word.startswith("-")), None)


class _Parser(argparse.ArgumentParser):
    """Refuses in one line; argparse would print the whole usage before it.

    It would also take the beginning of an option's name for the whole of it.
    """

    def __init__(self, **settings: Any) -> None:
        super().__init__(allow_abbrev=False, **settings)

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{message}; '{self.prog} --help' says more")


def _open_closed_streams() -> None:
    """A program may be started with its standard streams closed: then they lead nowhere."""
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 - open as long as we run
    if sys.stdout is None:
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - likewise
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - likewise


def _parser(arguments: Sequence[str]) -> argparse.ArgumentParser:
    parser = _Parser(
        prog="ripieno",
        description="Press a triad, hear a full two-hand accompaniment.",
        epilog="'ripieno COMMAND --help' says more.",
    )
    parser.add_argument("--version", action="version", version=f"ripieno {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    called = _called(arguments)
    for name, does in COMMANDS.items():
        if name == called:
            import_module(f"ripieno.cli.{name}").add_parser(commands)
        else:
            commands.add_parser(name, help=does)
    return parser
