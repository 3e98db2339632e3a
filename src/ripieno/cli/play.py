"""`ripieno play`: chords in from a keyboard, accompaniment out, until stopped."""

import argparse
import sys
import time
from collections import deque
from queue import SimpleQueue
from threading import Thread

from ripieno.cli.hosting import (
    MOST_SAID,
    add_hosting,
    add_lines,
    has_screen,
    hosted,
    run_with_dashboard,
    say_on_stderr,
    signals,
)
from ripieno.engine.loop import Timed
from ripieno.errors import RipienoError
from ripieno.host.host import Host
from ripieno.perform.performer import Heard
from ripieno.theory.key import Key, key_named
from ripieno.theory.pitch import note_name
from ripieno.theory.symbol import symbol
from ripieno.wire.command import TABLE, Command, Silence, command_from
from ripieno.wire.status import Status
from ripieno.wire.time_in_words import leader, under_way

_WIDTH = 79
_STATUS_S = 0.05  # between two looks at it
_NAMES = {row.name for row in TABLE}


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "play",
        help="play: chords in from a keyboard, accompaniment out",
        description="Press a chord: the first one starts the figure as its downbeat. In a "
        "terminal it shows the dashboard, which names its keys. With --lines, or elsewhere, it "
        "prints lines of text, and takes them: type a style's id, a tempo, or what 'ripieno "
        "tell' knows, and press Enter; Enter alone silences. Start with the volume low.",
    )
    add_hosting(parser)
    add_lines(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play until a signal, or until the dashboard is left. Raises AuthorError, MachineError."""
    return _with_dashboard(args) if has_screen(args) else _with_lines(args)


def _with_dashboard(args: argparse.Namespace) -> int:
    """What is said meanwhile comes after the screen."""
    said: deque[str] = deque(maxlen=MOST_SAID)
    with hosted(args, said.append) as (host, lines), signals(host, hang_up=None):
        print(*lines, sep="\n", flush=True)
        run_with_dashboard(host)
    for sentence in said:
        say_on_stderr(sentence)
    return 0


def _with_lines(args: argparse.Namespace) -> int:
    heard: SimpleQueue[Timed] = SimpleQueue()
    with (
        hosted(args, _say, heard.put) as (host, said),
        signals(host, hang_up=None),
    ):
        print(*said, sep="\n", flush=True)
        host.run(_Terminal(host, heard).turn)
    print()
    return 0


def _say(sentence: str) -> None:
    """Where a line of status is shown, it gives way."""
    if sys.stdout.isatty():
        print(f"\r{'':{_WIDTH}}\r", end="", flush=True)
    say_on_stderr(sentence)


class _Terminal:
    """What is typed and what is shown: chords as lines, or in a terminal one line of status.

    A thread of its own asks for the status, for an engine that is stuck does not answer, and it is
    the host's thread that replaces it.
    """

    def __init__(self, host: Host, heard: SimpleQueue[Timed]) -> None:
        self._host = host
        self._heard = heard
        self._typed: SimpleQueue[str] = SimpleQueue()
        self._status: Status | None = None
        self._on_screen = sys.stdout.isatty()
        Thread(target=_read_lines, args=(self._typed,), daemon=True).start()
        if self._on_screen:
            Thread(target=self._watch, daemon=True).start()

    def turn(self) -> None:
        while not self._typed.empty():
            self._carry_out(self._typed.get())
        while not self._heard.empty():
            happening = self._heard.get().happening
            if isinstance(happening, Heard) and not self._on_screen:
                print(_heard_line(happening, self._host.chosen.key), flush=True)
        if (status := self._status) is not None:
            print(f"\r{_status_line(status):<{_WIDTH}.{_WIDTH}}", end="", flush=True)

    def _watch(self) -> None:
        while True:
            self._status = self._host.status()
            time.sleep(_STATUS_S)

    def _carry_out(self, line: str) -> None:
        """What makes no sense is answered on stderr."""
        try:
            result = self._host.carry_out(_command(line))
        except RipienoError as fault:
            print(f"\n{fault}", file=sys.stderr, flush=True)
            return
        if note := result.get("note"):
            print(f"\n{note}", file=sys.stderr, flush=True)


def _command(line: str) -> Command:
    """Raises AuthorError."""
    words = line.split()
    if not words:
        return Silence()
    if words[0] not in _NAMES:
        is_number = words[0].replace(".", "", 1).isdecimal()
        words = ["tempo" if is_number else "style", *words]
    return command_from(words)


def _heard_line(heard: Heard, key: Key | None) -> str:
    return f"{symbol(heard.reading.chord, key):8} {_names(heard.reading.keys, key)}"


def _status_line(now: Status) -> str:
    """One line: chord, style, tempo and who leads it, bar and beat, what sounds."""
    place = "press a chord" if now.bar is None else f"bar {now.bar}, beat {now.beat}"
    key = None if now.key is None else key_named(now.key)
    led = "" if now.follow == "none" else f" ({leader(now)})"
    parts = (now.style, f"{now.bpm:g} in {now.meter}{led}", under_way(now), place)
    playing = ", ".join(part for part in parts if part)
    return f"{now.chord or '--':9} {playing}  {_names(now.sounding, key)}"


def _names(notes: tuple[int, ...], key: Key | None) -> str:
    centre = 1 if key is None else key.centre
    return " ".join(note_name(note, centre) for note in notes)


def _read_lines(typed: SimpleQueue[str]) -> None:
    """Lines of any bytes, for what is no text is no style either.

    Unbuffered: a thread that waits in a buffer of sys.stdin holds a lock, and the interpreter
    that ends meanwhile aborts over it.
    """
    with open(sys.stdin.fileno(), "rb", buffering=0, closefd=False) as lines:
        for line in lines:
            typed.put(line.decode(errors="replace").strip())
