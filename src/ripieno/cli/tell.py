"""`ripieno tell`: one command to a running daemon. It imports little, for it must be quick."""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence

from ripieno.errors import AuthorError, UsageError
from ripieno.link.client import Client
from ripieno.link.endpoint import own_endpoint
from ripieno.theory.pitch import note_name
from ripieno.wire.status import ControlStatus, Status, status_from_data
from ripieno.wire.time_in_words import about_time


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "tell",
        help="tell a running daemon what to play, or ask how it is",
        description="Tells the daemon that 'ripieno serve' has begun one command.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        add_help=False,
    )
    parser.add_argument(
        "-h", "--help", action=_Help, nargs=0, help="show this help message and exit"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    parser.add_argument(
        "words", nargs=argparse.REMAINDER, metavar="COMMAND...", help="its words, such as tempo -2"
    )
    parser.set_defaults(run=run, show_help=lambda: _show_help(parser))


class _Help(argparse.Action):
    """Help that lists the commands, read only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        _show_help(parser)
        parser.exit()


def _show_help(parser: argparse.ArgumentParser) -> None:
    parser.epilog = "\n".join(["commands:", *_command_lines()])
    parser.print_help()


def run(args: argparse.Namespace) -> int:
    words, options = _sorted(args.words)
    if "--help" in options or "-h" in options:
        args.show_help()
        return 0
    _check(words, options)
    as_json = args.json or "--json" in options
    with Client(own_endpoint()) as client:
        if words[0] == "learn" and len(words) > 1:
            return _learn(client, words, as_json=as_json)
        result = client.tell(words)
    if as_json:
        print(json.dumps(result))
    elif words == ["status"]:
        _print(*_status_lines(status_from_data(result)))
    else:
        _print(", ".join(f"{_plain_name(k)}: {_plain(v)}" for k, v in result.items()) or "done")
    return 0


def _command_lines() -> Iterator[str]:
    from ripieno.wire.command import TABLE  # a third of the time that `tell` takes to begin

    for row in TABLE:
        if row.name != "watch":
            yield f"  {f'{row.name} {row.form}':28} {row.does}"


def _sorted(given: Sequence[str]) -> tuple[list[str], list[str]]:
    """The command's words, and the options that stand among them: `-2` is a word."""
    words = [word for word in given if not word.startswith("--") and word != "-h"]
    return words, [word for word in given if word not in words and word != "--"]


def _check(words: list[str], options: list[str]) -> None:
    """Raises UsageError."""
    for option in options:
        if option != "--json":
            raise UsageError(f"tell has no option '{option}'; 'ripieno tell --help' says more")
    if not words:
        raise UsageError("tell what? such as 'ripieno tell status'; --help lists the commands")
    if words[0] == "watch":
        raise UsageError(
            "watch is for programs that keep a connection; 'ripieno tell status' shows it once"
        )


def _learn(client: Client, words: Sequence[str], *, as_json: bool) -> int:
    """Wait until a control is pressed for the command. Raises AuthorError if none will be.

    Whatever ends this process ends the waiting too: the daemon goes by the connection.
    """
    from ripieno.wire.command import command_from, words_of

    do = words_of(command_from(words))[1:]
    before = status_from_data(client.tell(["status"])).controls
    client.tell(words)
    prompt = sys.stderr if as_json else sys.stdout
    print(f"press the control for '{' '.join(do)}' now", file=prompt, flush=True)
    after = _controls_once_learnt(client, do)
    control, is_new = _learnt(before, after, do)
    if as_json:
        print(json.dumps({"press": control.press, "do": control.do, "new": is_new}))
    else:
        _print(f"{'learnt' if is_new else 'as before'}: {_control_line(control)}")
    return 0


def _controls_once_learnt(client: Client, do: tuple[str, ...]) -> tuple[ControlStatus, ...]:
    for status in client.watch():
        if status.learning is None:
            return status.controls
        if status.learning != do:
            other = " ".join(status.learning)
            raise AuthorError(f"nothing was learnt: '{other}' is being learnt instead")
    raise AssertionError("it goes on for ever")


def _learnt(
    before: Sequence[ControlStatus], after: Sequence[ControlStatus], do: tuple[str, ...]
) -> tuple[ControlStatus, bool]:
    """The control that does it, and whether it is new. Raises AuthorError if there is none."""
    doing = [control for control in after if control.do == do]
    new = [control for control in doing if control not in before]
    if not doing:
        raise AuthorError("nothing was learnt: the waiting was ended; begin again")
    return (new or doing)[-1], bool(new)


def _status_lines(status: Status) -> Iterator[str]:
    for name, value in _status_rows(status):
        yield f"{name:10} {value}"
    for control in status.controls:
        yield f"{'control':10} {_control_line(control)}"
    for notice in status.notices:
        yield f"{'notice':10} {notice}"


def _status_rows(status: Status) -> Iterator[tuple[str, str]]:
    yield "style", f"{status.style} ({status.style_name})"
    yield "tempo", f"{status.bpm:g} in {status.meter}, swing {status.swing}"
    yield "time", "; ".join(about_time(status))
    yield "key", _plain(status.key)
    yield "hold", _plain(status.hold)
    yield "split", _plain(None if status.split is None else note_name(status.split))
    yield "transpose", f"{status.transpose:+d}" if status.transpose else "none"
    yield "reading", status.reading
    yield "chord", _plain(status.chord) + _in_brackets(status.degree)
    if status.bar is not None and status.beat is not None:
        yield "place", f"bar {status.bar}, beat {status.beat}"
    sounding = " ".join(note_name(note) for note in status.sounding)
    yield "sounding", (sounding or "nothing") + (", pedal down" if status.pedal else "")
    yield "input", (status.input or "none") + _in_brackets(status.input_why)
    yield "output", (status.output or "none") + _in_brackets(status.output_why)
    yield "system", status.system or "not known"
    yield "engine", "; ".join(_about_engine(status))
    yield "counts", ", ".join(f"{_plain_name(k)} {v}" for k, v in status.counts.items()) or "none"
    if status.learning is not None:
        yield "learning", " ".join(status.learning)
    yield "journal", _plain(status.journal)
    yield "up", _duration(status.uptime_s)


def _about_engine(status: Status) -> Iterator[str]:
    again = f"{_times(status.restarts)} restarted"
    if status.renewals:
        again += f", of these {_times(status.renewals)} by an edit"
    yield f"{status.engine}, {again}{_in_brackets(status.last_end)}"
    yield from (said for said in (status.scheduling, status.memory) if said)


def _control_line(control: ControlStatus) -> str:
    return f"{control.press}: {' '.join(control.do)}"


def _in_brackets(text: str | None) -> str:
    return f" ({text})" if text else ""


def _times(count: int) -> str:
    return {0: "never", 1: "once"}.get(count, f"{count} times")


def _duration(seconds: float) -> str:
    minutes, left = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min {left} s" if hours else f"{minutes} min {left} s"


def _plain_name(name: str) -> str:
    return name.replace("_", " ")


def _plain(value: object) -> str:
    match value:
        case None:
            return "none"
        case bool():
            return "on" if value else "off"
        case float():
            return f"{value:.10g}"
        case list() | tuple():
            return " ".join(_plain(item) for item in value) or "none"
        case _:
            return str(value)


def _print(*lines: str) -> None:
    """What ports, files and the daemon are called may hold what a terminal would obey."""
    for line in lines:
        print("".join(c if c.isprintable() else ascii(c)[1:-1] for c in line))
