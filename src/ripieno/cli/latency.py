"""`ripieno latency`: how long a note takes on this machine, measured and judged."""

import argparse
import json
import os
import platform
import shutil
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path

from ripieno import __version__
from ripieno.cli.options import add_ports, style_named
from ripieno.cli.writing import refused
from ripieno.engine.rig import Rig
from ripieno.errors import AuthorError, MachineError, UsageError
from ripieno.latency import in_process, keyboard, midi_system
from ripieno.latency.budget import Demand, Judgement, judge, read_budget
from ripieno.latency.figures import FIGURES_OF, PATHS, Sample
from ripieno.latency.ground import Ground
from ripieno.latency.histogram import time
from ripieno.latency.measure import BPM, Order, measure
from ripieno.latency.player import Found
from ripieno.latency.report import ANSWER, compared, judged, report
from ripieno.latency.result import Result, csv_lines, read_result, result
from ripieno.latency.verdict import verdict
from ripieno.midi import ports, systems
from ripieno.midi.systems import System
from ripieno.perform.settings import Settings

# Styles that answer a strike at once, and styles that run in short steps; the others of each
# are gone through under load.
AT_ONCE = ("smooth-chords", "wide-pad")
DENSE = ("rippling-sixteenths", "driving-eighths")
_STRIKES, _SECONDS = 200, 15.0
_MOST_STRIKES, _MOST_SECONDS = 1_000_000, 24 * 3600.0
_WIDTH = 100  # where no terminal says another
_WHOLE_LINES = 1000


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "latency",
        help="how long a note takes on this machine, measured and judged",
        description="Measures how long the engine takes to answer on this machine, and beside it "
        "the same way without the program. Nothing sounds unless a path leads to a synthesizer: "
        "then turn its volume low.",
    )
    parser.add_argument(
        "--path",
        choices=PATHS,
        help="in-process: inside this program; midi: through the MIDI system (default where there "
        "is one); cable: from --out through a cable to --in; keyboard: you press chords",
    )
    parser.add_argument(
        "--strikes", type=_whole, metavar="N",
        help=f"chords of each kind (default: {_STRIKES}; keyboard: until Ctrl-C)",
    )  # fmt: skip
    parser.add_argument(
        "--seconds", type=_seconds, default=_SECONDS, metavar="S",
        help=f"how long the figure runs whose steps are timed (default: {_SECONDS:g})",
    )  # fmt: skip
    parser.add_argument("--seed", type=_whole, default=1, metavar="N", help="of the random gaps")
    parser.add_argument(
        "--load", action="store_true",
        help="meanwhile have the dashboard attached, change style and tempo, and keep every "
        "processor busy",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write a row a measurement")
    parser.add_argument(
        "--budget", metavar="FILE|DEMANDS",
        help="such as 'strike-to-first-note p99 <= 320 us'; exit status 1 if one is missed",
    )  # fmt: skip
    parser.add_argument("--keep", type=Path, metavar="FILE", help="write the result, to compare")
    parser.add_argument("--compare", type=Path, metavar="FILE", help="against a kept result")
    add_ports(parser, listens=True)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """1 when a budget was missed. Raises AuthorError, UsageError, MachineError."""
    system = systems.choose()
    path = args.path or ("midi" if system.virtual else "in-process")
    _refuse_odd(args, path)
    demands = None if args.budget is None else _demands(args.budget, path)
    before = None if args.compare is None else _kept(args.compare)
    files = {file: _writable(file) for file in (args.csv, args.keep) if file is not None}
    found, about = _measured(args, path, system)
    made = datetime.now().astimezone().isoformat(timespec="seconds")
    outcome = result(path, made, _setup(args, path) | about, found)
    judgements = [] if demands is None else judge(demands, outcome.summaries())
    if args.csv is not None:
        files[args.csv]("\n".join(csv_lines(found.samples)) + "\n")
    if args.keep is not None:
        files[args.keep](outcome.model_dump_json(indent=1) + "\n")
    if args.json:
        print(json.dumps(_object(outcome, judgements, before)))
    else:
        _show(outcome, found, judgements, before)
    return 0 if all(judgement.met for judgement in judgements) else 1


def _measured(args: argparse.Namespace, path: str, system: System) -> tuple[Found, dict[str, str]]:
    """What was found, and what the ground says of itself."""
    if path == "keyboard":
        return _keyboard(args, system)
    order = Order(
        strikes=args.strikes or _STRIKES,
        seconds=args.seconds,
        seed=args.seed,
        load=args.load,
        at_once=tuple(map(style_named, AT_ONCE)),
        dense=tuple(map(style_named, DENSE)),
    )
    if path != "in-process" and system.api is None:
        raise MachineError(f"{system.why}; 'ripieno latency --path in-process' works without")
    with _ground(args, path, system, order) as ground:
        if sys.stderr.isatty():
            print(f"measuring, about {order.about_s():.0f} s", file=sys.stderr, flush=True)
        found = measure(ground, order)
    return found, ground.about


def _ground(
    args: argparse.Namespace, path: str, system: System, order: Order
) -> AbstractContextManager[Ground]:
    if path == "in-process":
        return in_process.opened(order.settings, order.at_once[0])
    if path == "midi":
        return midi_system.opened(system, order.settings, order.at_once[0])
    return midi_system.cable(system, args.output, args.input)


def _keyboard(args: argparse.Namespace, system: System) -> tuple[Found, dict[str, str]]:
    output = args.output if args.output is not None or args.sound else ports.VIRTUAL
    rig = Rig(system, args.input, output, args.sound)
    with keyboard.opened(rig, Settings(bpm=BPM), style_named(AT_ONCE[0])) as engine:
        about = keyboard.setup(engine, system)
        print(f"input: {about['input']}", file=sys.stderr)
        print("press chords of three keys and more; Ctrl-C ends it", file=sys.stderr, flush=True)
        found = keyboard.measure(engine, args.strikes, _show_strike)
    return found, about


def _show_strike(sample: Sample) -> None:
    print(f"  first note after {time(sample.value_ns)}", file=sys.stderr, flush=True)


def _show(
    outcome: Result, found: Found, judgements: list[Judgement], before: Result | None
) -> None:
    width = shutil.get_terminal_size((_WIDTH, 24)).columns
    print("\n".join(report(outcome, found.samples, width)))
    if before is not None:
        print()
        print("\n".join(compared(outcome, before, width)))
    if judgements:
        print()
        print("\n".join(judged(judgements, width)))


def _object(
    outcome: Result, judgements: list[Judgement], before: Result | None
) -> dict[str, object]:
    """The kept form, what was judged, and the comparison in words."""
    answer = outcome.summaries()[ANSWER[outcome.path]]
    budget = [{"demand": j.demand.text, "met": j.met, "found": j.found} for j in judgements]
    lines = [] if before is None else list(compared(outcome, before, _WHOLE_LINES))
    more = {"verdict": verdict(answer), "budget": budget, "compared": lines}
    return outcome.model_dump() | more


def _setup(args: argparse.Namespace, path: str) -> dict[str, str]:
    """All that may make another run differ from this one, as words."""
    setup = {
        "path": path,
        "program": __version__,
        "python": platform.python_version(),
        "machine": f"{platform.system()} {platform.release()} {platform.machine()}",
        "processors": str(os.cpu_count() or "unknown"),
    }
    if path == "keyboard":
        return setup
    setup["strikes"] = str(args.strikes or _STRIKES)
    if path != "cable":
        setup |= {"seconds": f"{args.seconds:g}", "load": "yes" if args.load else "no"}
    return setup | {"seed": str(args.seed)}


def _refuse_odd(args: argparse.Namespace, path: str) -> None:
    """Options that this path has no use for. Raises UsageError."""
    if path == "cable" and (args.input is None or args.output is None):
        raise UsageError(
            "--path cable needs --out PORT and --in PORT, the two ends of the cable; "
            "'ripieno ports' lists them"
        )
    if path in ("in-process", "midi") and (args.input or args.output):
        raise UsageError(
            f"--path {path} makes ports of its own: --in and --out belong to cable and keyboard"
        )
    if path != "keyboard" and args.sound:
        raise UsageError("--sound belongs to --path keyboard")
    if path in ("cable", "keyboard") and args.load:
        raise UsageError(f"--load belongs to in-process and midi, not to --path {path}")


def _demands(given: str, path: str) -> list[Demand]:
    """A budget given by itself or by a file. Raises UsageError."""
    if "<=" in given:
        return read_budget(given, "--budget", FIGURES_OF[path])
    return read_budget(_read(Path(given)), given, FIGURES_OF[path])


def _kept(path: Path) -> Result:
    return read_result(_read(path), str(path))


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise MachineError(f"cannot read {path}: {error.strerror}") from error
    except UnicodeDecodeError:
        raise AuthorError(f"{path}: not a text") from None


def _writable(path: Path) -> Callable[[str], None]:
    """Writes to a file. It is opened now, so that a long run does not end in a refusal."""
    with refused(str(path)):
        path.open("a", encoding="utf-8").close()

    def write(text: str) -> None:
        with refused(str(path)):
            path.write_text(text, encoding="utf-8", newline="\n")

    return write


def _whole(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= _MOST_STRIKES:
        raise argparse.ArgumentTypeError(
            f"'{text}': write a whole number from 1 to {_MOST_STRIKES}"
        )
    return int(text)


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 0.1 <= value <= _MOST_SECONDS:
        raise argparse.ArgumentTypeError(f"'{text}': write seconds from 0.1 to {_MOST_SECONDS:g}")
    return value
