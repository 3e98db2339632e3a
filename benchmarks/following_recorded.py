"""How well the tempo follows a recorded performance: python benchmarks/following_recorded.py FILE

FILE has a score's notes aligned with a performer's, as lines of the `match` format
(https://cpjku.github.io/matchfile/): the package parangonar 3.4.0 carries one, `assets/
mozart_k265_var1.match`, a variation of 48 beats that halts between its halves.

The beats that somebody played are the strikes, each at its first note, and all of them or every
other one. The tempo told is the performance's median, a tenth slower, and a tenth faster. Columns
are those of `following.py`; there is no telling what was meant.
"""

import re
import sys
from itertools import pairwise
from pathlib import Path
from statistics import median

from following import Judge, percentile
from ripieno.units import NS_PER_MINUTE
from simulated_players import Performance, Struck

TOLD = (1.0, 0.9, 1.1)
_INFO = re.compile(r"info\((\w+),(.+)\)\.")
_ALIGNED = re.compile(
    r"snote\([^,]+,\[[^\]]*\],\d+,[^,]+,[^,]+,[^,]+,(?P<beat>-?[\d.]+),[^)]*\)"
    r"-note\([^,]+,\[[^\]]*\],\d+,(?P<onset>\d+),"
)


def beats_of(path: Path) -> tuple[dict[int, float], int]:
    """When each beat that was played was, in nanoseconds, and how many beats a bar has."""
    text = path.read_text(encoding="utf-8")
    info = dict(_INFO.findall(text))
    tick_ns = 1000 * float(info["midiClockRate"]) / float(info["midiClockUnits"])
    first: dict[int, float] = {}
    for found in _ALIGNED.finditer(text):
        beat, at_ns = float(found["beat"]), int(found["onset"]) * tick_ns
        if beat % 1 == 0:
            first[int(beat)] = min(at_ns, first.get(int(beat), at_ns))
    return first, int(info["timeSignature"].strip("[]").split("/")[0])


def performance(first: dict[int, float], per_bar: int, every: int, told: float) -> Performance:
    """The beats as strikes; those that nobody played lie evenly between others."""
    struck = [beat for beat in sorted(first) if beat >= 0 and beat % every == 0]
    lengths = [(first[b] - first[a]) / (b - a) for a, b in pairwise(struck)]
    meant = [first[struck[0]]]
    for (a, b), length in zip(pairwise(struck), lengths, strict=True):
        meant += [first[a] + step * length for step in range(1, b - a)] + [first[b]]
    strikes = [Struck(round(first[beat]), beat - struck[0], first[beat]) for beat in struck]
    bpm = told * NS_PER_MINUTE / median(lengths)
    return Performance(bpm, per_bar, tuple(strikes), tuple(meant))


def main() -> None:
    first, per_bar = beats_of(Path(sys.argv[1]))
    print(f"{'':24}{'follower':>12}{'last interval':>16}{'constant':>12}{'ratio':>8}{'lost':>6}")
    for every in (1, 2):
        for told in TOLD:
            errors = Judge(performance(first, per_bar, every, told), lean=100).run()
            follower, last, constant = (
                percentile(values, 0.5)
                for values in (errors.follower, errors.last_interval, errors.constant)
            )
            print(
                f"{f'every {every}, told x{told:g}':24}{follower:12.1f}{last:16.1f}{constant:12.1f}"
                f"{follower / last:8.2f}{errors.longest_lost[0]:6}"
            )


if __name__ == "__main__":
    main()
