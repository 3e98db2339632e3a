"""`ripieno ports`: what can be connected here, and what would be."""

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

from ripieno.errors import MachineError
from ripieno.midi import ports, systems


@dataclass(frozen=True, slots=True)
class _Side:
    """The ports of one direction; `use` is None where none could be used, and `why` says why."""

    found: Sequence[str]
    use: str | None
    why: str


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "ports",
        help="MIDI inputs and outputs found, and which would be used and why",
        description="Lists the MIDI inputs and outputs, and which would be used and why.",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object instead of text")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    system = systems.choose()
    source = _side(system, ports.inputs(system), ports.pick_input)
    target = _side(system, ports.outputs(system), ports.pick_output)
    if args.json:
        about = {"name": system.name, "why": system.why, "virtual": system.virtual}
        report = {"system": about, "input": asdict(source), "output": asdict(target)}
        print(json.dumps(report, ensure_ascii=False))
    else:
        print(f"MIDI system: {system.name} ({system.why})")
        print("\n".join(_lines("input", source) + _lines("output", target)))
    return 0


def _side(
    system: systems.System,
    names: Sequence[str],
    pick: Callable[[systems.System, Sequence[str], str | None], ports.Pick],
) -> _Side:
    try:
        picked = pick(system, names, None)
    except MachineError as error:
        return _Side(names, None, str(error))
    return _Side(names, picked.name, picked.why)


def _lines(kind: str, side: _Side) -> list[str]:
    return [
        "",
        f"{kind}s found:" if side.found else f"{kind}s found: none",
        *(f"  {name}" for name in side.found),
        f"{kind} used: {side.use or 'none'} ({side.why})",
    ]
