"""What `play` and `serve` share: the host with all that is around it, and the signals."""

import argparse
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from ripieno.cli.options import DEFAULT_STYLE, add_beginning, add_music, add_ports, instead
from ripieno.configuration.file import default_path
from ripieno.engine.spawn import command_of, spawned
from ripieno.link.endpoint import SOUNDING, own_endpoint, runtime_folder
from ripieno.wire.command import Command, Silence

_SAID_BY_FILE = (
    "style", "swing", "reading", "transpose", "hold", "span", "channel", "seed", "follow", "lean",
    "pickup",
)  # fmt: skip
MOST_SAID = 100  # sentences kept for after a screen

if TYPE_CHECKING:
    from ripieno.engine.loop import Timed
    from ripieno.host.host import Host


def add_hosting(parser: argparse.ArgumentParser) -> None:
    """The options of both. What is not given is as the configuration has it."""
    add_music(parser, style=DEFAULT_STYLE)
    add_ports(parser, listens=True)
    add_beginning(parser)
    parser.set_defaults(**dict.fromkeys(_SAID_BY_FILE))
    group = parser.add_argument_group("files")
    group.add_argument(
        "--config",
        type=Path,
        default=default_path(),
        metavar="FILE",
        help=f"the configuration (default: {default_path()})",
    )
    group.add_argument(
        "--journals",
        type=Path,
        metavar="FOLDER",
        help="where sessions are kept (default: the system's folder for what programs keep)",
    )
    parser.epilog = (
        "What no option says is as the configuration has it; a default named above is what "
        "the configuration has at first."
    )


def add_lines(parser: argparse.ArgumentParser) -> None:
    """The option of who would not have the dashboard."""
    parser.add_argument(
        "--lines", action="store_true", help="lines of text instead of the dashboard"
    )


def has_screen(args: argparse.Namespace) -> bool:
    """Whether there is a terminal for the dashboard, and it is wanted."""
    return not args.lines and all(s.isatty() for s in (sys.stdin, sys.stdout, sys.stderr))


def run_with_dashboard(host: "Host") -> None:
    """Until the dashboard is left or a signal ends it. It is a process of its own, as always."""
    with subprocess.Popen(command_of("ripieno", "dashboard")) as screen:
        Thread(target=_when_left, args=(screen, host), daemon=True).start()
        host.run()
        screen.terminate()


def _when_left(screen: "subprocess.Popen[bytes]", host: "Host") -> None:
    screen.wait()
    host.tell(None)


@contextmanager
def hosted(
    args: argparse.Namespace,
    say: Callable[[str], None],
    hear: "Callable[[Timed], object]" = lambda _: None,
) -> Iterator["tuple[Host, tuple[str, ...]]"]:
    """The host, playing, and what it plays on. Raises AuthorError, MachineError.

    What the host needs is imported while the engine's process begins, which mostly has by now.
    """
    with spawned() if args.engine is None else nullcontext(args.engine) as process:
        from ripieno.host.control import ControlServer
        from ripieno.host.host import Host
        from ripieno.host.library import Library
        from ripieno.host.notification import Notifier
        from ripieno.host.sessions import Sessions, default_folder
        from ripieno.host.wishes import Wishes

        wishes = Wishes(args.config, instead(args), Library())
        journals = wishes.configuration.journals
        folder = args.journals or default_folder()
        host = Host(
            wishes,
            first=process,
            sounding=runtime_folder() / SOUNDING,
            sessions=Sessions(folder, journals.most_bytes) if journals.keep else None,
            notifier=Notifier.from_environment(),
            say=say,
            hear=hear,
        )
        with ControlServer(own_endpoint(), host):
            try:
                yield host, host.start()
            finally:
                host.close()


@contextmanager
def signals(host: "Host", *, hang_up: Command | None) -> Iterator[None]:
    """TERM and INT end it, USR1 silences; HUP does `hang_up`, None for the end."""
    meanings = {"SIGINT": None, "SIGTERM": None, "SIGHUP": hang_up, "SIGUSR1": Silence()}
    here = {getattr(signal, name): does for name, does in meanings.items() if hasattr(signal, name)}
    before = {number: signal.signal(number, _teller(host, does)) for number, does in here.items()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _teller(host: "Host", does: Command | None) -> Callable[[int, object], None]:
    return lambda _number, _frame: host.tell(does)


def say_on_stderr(sentence: str) -> None:
    """What nobody takes, on a full disk or after the reader has gone, is no reason to end."""
    with suppress(OSError):
        print(f"ripieno: {sentence}", file=sys.stderr, flush=True)
