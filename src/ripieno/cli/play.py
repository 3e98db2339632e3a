"""`ripieno play`: chords in from a keyboard, accompaniment out, until stopped."""

import argparse
import sys
import time
from collections.abc import Iterator
from queue import Empty, SimpleQueue
from threading import Thread

from ripieno.cli.live import (
    DEFAULT_BPM,
    LiveSession,
    playing_rig,
    process_session,
    say_lost,
    until_signalled,
)
from ripieno.cli.options import (
    DEFAULT_STYLE,
    add_journal,
    add_music,
    add_ports,
    chosen_style,
    foreign_meter,
    settings,
    style_named,
)
from ripieno.errors import AuthorError
from ripieno.host.engine_process import EngineProcess, spawned
from ripieno.perform.events import Input, SetStyle, SetTempo, Silence
from ripieno.perform.performer import Heard
from ripieno.perform.settings import BPM_RANGE, Settings
from ripieno.perform.snapshot import Snapshot
from ripieno.theory.key import Key
from ripieno.theory.pitch import note_name
from ripieno.theory.symbol import symbol

_REFRESH_S = 0.1
_WIDTH = 79


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "play",
        help="play: chords in from a keyboard, accompaniment out",
        description="Press a chord: the first one starts the figure as its downbeat. While it "
        "runs, type a style's id or a tempo and press Enter to change it; Enter alone silences. "
        "Ctrl-C ends it. Start with the volume low.",
    )
    add_music(parser, style=DEFAULT_STYLE)
    add_ports(parser, listens=True)
    add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play until a signal. Raises AuthorError, MachineError."""
    with spawned() as process, until_signalled() as ended:
        style = chosen_style(args)
        chosen = settings(args, style, DEFAULT_BPM, None)
        note = foreign_meter(style, chosen.meter)
        if note is not None:
            print(f"ripieno: {note}", file=sys.stderr)
        with process_session(process, playing_rig(args), chosen, style, args.journal) as live:
            print(*live.engine.said, sep="\n", flush=True)
            _watch(live, chosen, ended)
    print()
    return 0


def _watch(live: LiveSession[EngineProcess], chosen: Settings, ended: SimpleQueue[int]) -> None:
    """Show what is played and take what is typed, until ended."""
    typed: SimpleQueue[str] = SimpleQueue()
    Thread(target=_read_lines, args=(typed,), daemon=True).start()
    on_screen = sys.stdout.isatty()
    while live.engine.is_running:
        for timed in live.news():
            if isinstance(timed.happening, Heard) and not on_screen:
                print(_heard_line(timed.happening, chosen.key), flush=True)
        for event in _asked(typed):
            live.engine.submit(event)
        if on_screen:
            print(
                f"\r{_status(live.engine.look(), chosen.key):<{_WIDTH}.{_WIDTH}}",
                end="",
                flush=True,
            )
        try:
            ended.get(timeout=_REFRESH_S)
        except Empty:
            continue
        break
    say_lost(live.engine)


def _heard_line(heard: Heard, key: Key | None) -> str:
    centre = 1 if key is None else key.centre
    keys = " ".join(note_name(note, centre) for note in heard.reading.keys)
    return f"{symbol(heard.reading.chord, key):8} {keys}"


def _status(now: Snapshot, key: Key | None) -> str:
    """One line: chord, style, tempo, bar and beat, what sounds."""
    centre = 1 if key is None else key.centre
    place = (
        "press a chord" if now.bar_and_beat is None else "bar {}, beat {}".format(*now.bar_and_beat)
    )
    notes = " ".join(note_name(note, centre) for note in now.sounding)
    return f"{now.chord or '--':9} {now.style}, {now.bpm:g} in {now.meter}, {place}  {notes}"


def _read_lines(typed: SimpleQueue[str]) -> None:
    """Lines of any bytes, for what is no text is no style either.

    Unbuffered: a thread that waits in a buffer of sys.stdin holds a lock, and the interpreter
    that ends meanwhile aborts over it.
    """
    with open(sys.stdin.fileno(), "rb", buffering=0, closefd=False) as lines:
        for line in lines:
            typed.put(line.decode(errors="replace").strip())


def _asked(typed: SimpleQueue[str]) -> Iterator[Input]:
    """The events that typed lines ask for; what makes no sense is answered on stderr."""
    while not typed.empty():
        line = typed.get()
        try:
            yield _event(line, time.monotonic_ns())
        except AuthorError as fault:
            print(f"\n{fault}", file=sys.stderr)


def _event(line: str, now_ns: int) -> Input:
    if not line:
        return Silence(now_ns)
    if line.replace(".", "", 1).isdecimal():
        bpm = float(line)
        if not BPM_RANGE[0] <= bpm <= BPM_RANGE[1]:
            raise AuthorError("a tempo is a number from {:g} to {:g}".format(*BPM_RANGE))
        return SetTempo(now_ns, bpm)
    return SetStyle(now_ns, style_named(line))
