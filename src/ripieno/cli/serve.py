"""`ripieno serve`: as `play`, without a screen or anybody to type, for a service manager."""

import argparse
from queue import Empty, SimpleQueue

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
    settings,
)
from ripieno.host.engine_process import EngineProcess, spawned

_LOOK_S = 0.5  # between two times that the journal is written and the engine looked after


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "serve",
        help="play without a screen, until told to end",
        description="Plays as 'ripieno play' does, and prints only what it plays on and when it "
        "is ready. A signal (TERM, INT or HUP) ends it in order. Start with the volume low.",
    )
    add_music(parser, style=DEFAULT_STYLE)
    add_ports(parser, listens=True)
    add_journal(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play until a signal. Raises AuthorError, MachineError."""
    with spawned() as process, until_signalled() as ended:
        style = chosen_style(args)
        chosen, rig = settings(args, style, DEFAULT_BPM, None), playing_rig(args)
        with process_session(process, rig, chosen, style, args.journal) as live:
            print(*live.engine.said, "ready to play", sep="\n", flush=True)
            _look_after(live, ended)
    return 0


def _look_after(live: LiveSession[EngineProcess], ended: SimpleQueue[int]) -> None:
    while live.engine.is_running:
        try:
            ended.get(timeout=_LOOK_S)
        except Empty:
            live.news()
            continue
        break
    say_lost(live.engine)
