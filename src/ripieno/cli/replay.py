"""`ripieno replay`: a recorded session played again, identically."""

import argparse
from functools import partial
from pathlib import Path

from ripieno.cli.writing import journal_file, refuse_other_endings, write_result
from ripieno.errors import AuthorError
from ripieno.host.sessions import default_folder, newest
from ripieno.perform import journal
from ripieno.perform.events import Send
from ripieno.perform.offline import play
from ripieno.perform.performer import Performer
from ripieno.perform.time_played import Change, time_played


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "replay",
        help="play a recorded session again",
        description="Play a journal's keys through the performer again, with the settings and "
        "the style that the journal holds: the notes come out as they did.",
    )
    parser.add_argument(
        "input",
        type=Path,
        nargs="?",
        metavar="JOURNAL",
        help="a session's journal (default: the newest that 'play' or 'serve' has kept)",
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        required=True,
        metavar="OUT",
        help="where it goes: a .mid file, or a .wav file, which FluidSynth makes",
    )
    parser.add_argument(
        "--journal", type=Path, metavar="FILE", help="also write the replay's own journal"
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Replay one journal. Raises AuthorError, UsageError, MachineError."""
    refuse_other_endings(args.output)
    session = _session(args.input or _newest())
    performer = Performer(session.settings, session.style)
    changes: list[Change] = []
    happenings = list(play(performer, session.events, session.end_ns, changes))
    with journal_file(args.journal, session.settings, session.style, session.time) as kept:
        if kept is not None:
            kept.add(happenings)
            kept.close(session.end_ns)
    sends = [h for h in happenings if isinstance(h, Send)]
    time = session.time or time_played(changes, session.settings)
    write_result(args.output, sends, time, session.end_ns)
    return 0


def _newest() -> Path:
    path = newest(default_folder())
    if path is None:
        raise AuthorError(f"{default_folder()}: no session is kept there; name a journal")
    return path


def _session(path: Path) -> journal.Session:
    try:
        with path.open(encoding="utf-8") as stream:
            return journal.read(str(path), iter(partial(stream.readline, journal.MAX_LINE + 1), ""))
    except OSError as error:
        raise AuthorError(f"{path}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError:
        raise AuthorError(f"{path}: no text: a journal is JSON lines in UTF-8") from None
