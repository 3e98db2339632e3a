"""What a part comes to: a row of the table, and all of it as JSON."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from fractions import Fraction

from ripieno.latency.distribution import percentile

NS_PER_MS = 1_000_000
_PERCENTILES = (Fraction(1, 2), Fraction(99, 100))


@dataclass(frozen=True, slots=True)
class Times:
    """A distribution in milliseconds; None: not known, from too few or from none."""

    what: str
    count: int
    median: float | None
    p99: float | None
    worst: float | None

    def __str__(self) -> str:
        shown = ("-" if ms is None else f"{ms:.0f}" for ms in (self.median, self.p99, self.worst))
        return " / ".join(shown)


@dataclass(frozen=True, slots=True)
class Outcome:
    """`hanging` notes are those without a note-off at the instrument; None: none could be.

    `wanted` is the figure that was asked for. `sound`: nothing was wrong but, perhaps, the time;
    `in_time` is None where none was asked for.
    """

    part: str
    what: str
    count: int
    hanging: int | None
    times: tuple[Times, ...]
    wanted: str
    sound: bool
    in_time: bool | None = None
    remarks: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        return self.sound and self.in_time is not False


def times(what: str, spans_ns: Iterable[int]) -> Times:
    ascending = sorted(spans_ns)
    median, p99 = (percentile(ascending, part) for part in _PERCENTILES)
    worst = ascending[-1] if ascending else None
    return Times(what, len(ascending), *(_ms(ns) for ns in (median, p99, worst)))


def all_within(spans: Times, count: int, most_ms: float) -> bool:
    """Whether each of `count` was measured and took no longer."""
    return spans.count == count and (spans.worst is None or spans.worst <= most_ms)


def heading() -> str:
    """Over the rows; their times are the median, the 99th percentile and the worst."""
    return f"{'part':8} {'what':44} {'times':>9} {'hanging':>7}  {'median / p99 / worst ms':24} met"


def row(outcome: Outcome) -> Iterable[str]:
    hanging = "-" if outcome.hanging is None else str(outcome.hanging)
    met = "met" if outcome.met else "NOT MET"
    first = str(outcome.times[0]) if outcome.times else "-"
    start = f"{outcome.part:8} {outcome.what:44} {outcome.count:9,} {hanging:>7}  {first:24} "
    yield start + f"{met}: {outcome.wanted}"
    for spans in outcome.times[1:]:
        yield f"{'':8}   {spans.what}: {spans} ms ({spans.count})"
    for remark in outcome.remarks:
        yield f"{'':8}   {remark}"


def to_data(outcomes: Sequence[Outcome]) -> list[dict[str, object]]:
    """Plain for JSON."""
    return [asdict(outcome) | {"met": outcome.met} for outcome in outcomes]


def _ms(ns: int | None) -> float | None:
    return None if ns is None else round(ns / NS_PER_MS, 3)
