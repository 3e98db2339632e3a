"""A run's result: what is shown, kept in a file, and read again to be compared.

The kept form is a JSON object. Times are whole nanoseconds; what is not known is null.
"""

from collections.abc import Iterable
from typing import Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from ripieno.errors import AuthorError
from ripieno.latency.distribution import STATISTICS, Summary, drift_ns, summary
from ripieno.latency.figures import FIGURES_OF, SCHEDULING, Sample, definition
from ripieno.latency.histogram import buckets
from ripieno.latency.player import Found

KIND: Literal["ripieno-latency"] = "ripieno-latency"
VERSION: Literal[1] = 1


class Figure(BaseModel):
    """One figure. A bucket is `[least value, least above it, count]`."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    id: str
    definition: str
    count: int
    lost: int
    late: int
    values_ns: dict[str, int | None]
    buckets: list[list[int]]

    def summary(self) -> Summary:
        return Summary(self.id, self.count, self.lost, self.late, self.values_ns)


class Result(BaseModel):
    """One run. `setup` has all that may differ between two runs, as words."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)
    kind: Literal["ripieno-latency"] = KIND
    version: Literal[1] = VERSION
    made: str
    path: str
    setup: dict[str, str]
    figures: list[Figure]
    note_ons: int
    note_ons_back: int | None
    drift_ns: int | None

    def summaries(self) -> dict[str, Summary]:
        return {figure.id: figure.summary() for figure in self.figures}


def result(path: str, made: str, setup: dict[str, str], found: Found) -> Result:
    """`made` is the date and time of the run, ISO 8601."""
    return Result(
        made=made,
        path=path,
        setup=setup,
        figures=[_figure(name, path, found) for name in FIGURES_OF[path]],
        note_ons=found.note_ons,
        note_ons_back=found.back,
        drift_ns=drift_ns(of_figure(SCHEDULING, found.samples)),
    )


def of_figure(name: str, samples: Iterable[Sample]) -> list[Sample]:
    return [sample for sample in samples if sample.figure == name]


def _figure(name: str, path: str, found: Found) -> Figure:
    samples = of_figure(name, found.samples)
    short = summary(name, samples, found.lost.get(name, 0))
    return Figure(
        id=name,
        definition=definition(name, path),
        count=short.count,
        lost=short.lost,
        late=short.late,
        values_ns=short.values_ns,
        buckets=[[b.low_ns, b.high_ns, b.count] for b in buckets([s.value_ns for s in samples])],
    )


def read_result(text: str, where: str) -> Result:
    """A kept result. Raises AuthorError; `where` names the file in it."""
    try:
        kept = Result.model_validate_json(text)
    except ValidationError as fault:
        first = fault.errors()[0]
        place = ".".join(map(str, first["loc"])) or "the whole"
        raise AuthorError(
            f"{where}: no result that 'ripieno latency --keep' wrote: {place}: {first['msg']}"
        ) from None
    for figure in kept.figures:
        if set(figure.values_ns) != set(STATISTICS):
            raise AuthorError(f"{where}: {figure.id}: expected values for {', '.join(STATISTICS)}")
    return kept


def csv_lines(samples: Iterable[Sample]) -> Iterable[str]:
    """One row a measurement, in time: the figure, seconds since the first began, microseconds."""
    yield "figure,at_s,value_us"
    start_ns = None
    for sample in samples:
        start_ns = sample.at_ns if start_ns is None else start_ns
        at_s, value_us = (sample.at_ns - start_ns) / 1e9, sample.value_ns / 1e3
        yield f"{sample.figure},{at_s:.9f},{value_us:.3f}"
