"""A budget: what a figure may come to at most, and whether it did.

A demand is `FIGURE STATISTIC <= LIMIT`, one a line, or several between semicolons:

    strike-to-first-note p99 <= 320 us
    round-trip-first-note p50 <= 1.05 x bare-path
    strike-to-first-note lost <= 0

The statistic is p50, p90, p99, p99.9, max, or `lost` or `late`, which are counts. A limit is a
time in ns, us, ms or s, or so many times the same statistic of the bare path; for a count it
is a number alone. What follows `#` is a remark. What is not known does not meet a demand.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from ripieno.errors import UsageError
from ripieno.latency.distribution import PERCENTILES, STATISTICS, Summary, least_count
from ripieno.latency.figures import BARE
from ripieno.latency.histogram import time

_UNITS_NS = {"ns": 1, "us": 1_000, "ms": 1_000_000, "s": 1_000_000_000}
_COUNTS = ("lost", "late")
_TIMES_BARE = f"x {BARE}"
_FORM = "write FIGURE STATISTIC <= LIMIT, as in 'strike-to-first-note p99 <= 320 us'"
_DEMAND = re.compile(r"(\S+)\s+(\S+)\s*<=\s*([0-9]+(?:\.[0-9]+)?)\s*(.*)")


@dataclass(frozen=True, slots=True)
class Demand:
    """`limit` is nanoseconds, a count, or, with `of_bare`, a multiple of the bare path's."""

    text: str
    figure: str
    statistic: str
    limit: float
    of_bare: bool


@dataclass(frozen=True, slots=True)
class Judgement:
    """Whether a demand was met, and what was found, in words."""

    demand: Demand
    met: bool
    found: str


def read_budget(text: str, where: str, figures: tuple[str, ...]) -> list[Demand]:
    """The demands of a text, each on one of `figures`. UsageError says which is wrong and how.

    `where` names the text in errors: `FILE` gives `FILE:3: ...`.
    """
    demands = []
    for number, line in enumerate(text.splitlines(), 1):
        for part in line.partition("#")[0].split(";"):
            if part.strip():
                try:
                    demands.append(_demand(" ".join(part.split()), figures))
                except UsageError as fault:
                    raise UsageError(f"{where}:{number}: {fault}") from None
    if not demands:
        raise UsageError(f"{where}: no demand in it; {_FORM}")
    return demands


def _demand(text: str, figures: tuple[str, ...]) -> Demand:
    match = _DEMAND.fullmatch(text)
    if match is None:
        raise UsageError(f"'{text}' is no demand; {_FORM}")
    figure, statistic, number, unit = match.groups()
    if figure not in figures:
        raise UsageError(f"'{figure}' is not measured on this path, which has {', '.join(figures)}")
    if statistic not in STATISTICS and statistic not in _COUNTS:
        known = ", ".join((*STATISTICS, *_COUNTS))
        raise UsageError(f"'{statistic}' is no statistic; there are {known}")
    return Demand(text, figure, statistic, *_limit(float(number), unit, statistic, figures))


def _limit(
    number: float, unit: str, statistic: str, figures: tuple[str, ...]
) -> tuple[float, bool]:
    if statistic in _COUNTS:
        if unit:
            raise UsageError(f"'{statistic}' is a count: write a number alone, not '{unit}'")
        return number, False
    if unit == _TIMES_BARE and BARE in figures:
        return number, True
    if unit not in _UNITS_NS:
        units = ", ".join(_UNITS_NS)
        raise UsageError(f"'{unit}' is no unit of a limit; there are {units} and '{_TIMES_BARE}'")
    return number * _UNITS_NS[unit], False


def judge(demands: list[Demand], found: Mapping[str, Summary]) -> list[Judgement]:
    """Each demand with whether it was met. `found` has each demand's figure."""
    return [_judged(demand, found) for demand in demands]


def _judged(demand: Demand, found: Mapping[str, Summary]) -> Judgement:
    summary = found[demand.figure]
    if demand.statistic in _COUNTS:
        count = summary.lost if demand.statistic == "lost" else summary.late
        return Judgement(demand, count <= demand.limit, f"{count} of {summary.count}")
    value, limit_ns = summary.values_ns[demand.statistic], demand.limit
    if demand.of_bare:
        bare = found[BARE].values_ns[demand.statistic]
        if bare is None:
            return Judgement(demand, False, f"unknown: {_too_few(found[BARE], demand.statistic)}")
        limit_ns *= bare
    if value is None:
        return Judgement(demand, False, f"unknown: {_too_few(summary, demand.statistic)}")
    allowed = f", allowed {time(math.floor(limit_ns))}" if demand.of_bare else ""
    return Judgement(demand, value <= limit_ns, time(value) + allowed)


def _too_few(summary: Summary, statistic: str) -> str:
    part = PERCENTILES.get(statistic)
    least = 1 if part is None else least_count(part)
    return f"{summary.count} values of {summary.figure}, it takes {least}"
