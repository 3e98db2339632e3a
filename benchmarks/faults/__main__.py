"""The fault suite: `python benchmarks/faults [--quick] [--json FILE] [PART...]`.

Does to a daemon what a stage does to it, and counts what an instrument hears of it. Without the
names of parts all of them run, for some two hours; `--quick` does a fortieth of each. Nothing is
asserted: each row says what was asked for and whether it was met.
"""

import argparse
import json
import signal
import sys
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from faults import (
    control_lines,
    disk,
    engine_killed,
    gig,
    host_killed,
    midi_bytes,
    panic,
    readers,
    server_killed,
    unplugged,
)
from faults.outcome import Outcome, heading, row, to_data
from faults.server import CannotRun

QUICK = 40
# Each part with its whole size.
PARTS: dict[str, tuple[Callable[[int], list[Outcome]], int]] = {
    "engine": (engine_killed.run, 200),
    "unplug": (unplugged.run, 1_000),
    "server": (server_killed.run, 50),
    "host": (host_killed.run, 50),
    "lines": (control_lines.run, 1_000_000),
    "bytes": (midi_bytes.run, 10_000_000),
    "readers": (readers.run, 20),
    "disk": (disk.run, 5),
    "gig": (gig.run, 480),
    "panic": (panic.run, 40),
}


def main() -> int:
    """2 if a part cannot be run here, 1 if a figure was not met."""
    args = _arguments()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that what was begun is ended
    outcomes: list[Outcome] = []
    print(heading(), flush=True)
    status = 0
    for name in args.part or PARTS:
        run, size = PARTS[name]
        try:
            found = run(-(-size // QUICK) if args.quick else size)
        except CannotRun as reason:
            print(f"{name:8} cannot be run here: {reason}", flush=True)
            status = 2
            continue
        outcomes += found
        for outcome in found:
            print(*row(outcome), sep="\n", flush=True)
        if args.json is not None:
            args.json.write_text(json.dumps(to_data(outcomes), indent=1) + "\n")
    return status or any(not outcome.met for outcome in outcomes)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="faults", description=__doc__)
    parser.add_argument("part", nargs="*", help=f"any of {', '.join(PARTS)}")
    parser.add_argument("--quick", action="store_true", help="a fortieth of each part")
    parser.add_argument("--json", type=Path, metavar="FILE", help="keep what was found")
    args = parser.parse_args()
    for name in args.part:
        if name not in PARTS:
            parser.error(f"there is no part '{name}'; there are {', '.join(PARTS)}")
    return args


if __name__ == "__main__":
    sys.exit(main())
