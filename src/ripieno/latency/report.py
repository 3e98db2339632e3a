"""A result in words and columns, for a terminal of any width."""

import textwrap
from collections.abc import Iterator, Sequence

from ripieno.latency.budget import Judgement
from ripieno.latency.din import BYTE_NS, wire_ns
from ripieno.latency.distribution import MAX, PERCENTILES, STATISTICS, Summary
from ripieno.latency.figures import (
    BARE,
    FIGURES_OF,
    OVER_BARE,
    SCHEDULING,
    STRIKE_FIRST,
    TRIP_FIRST,
    Sample,
)
from ripieno.latency.histogram import bars, time
from ripieno.latency.result import Result, of_figure
from ripieno.latency.verdict import verdict
from ripieno.perform.message import note_on

_COMPARED = ("p50", "p99", MAX)
# What the whole of an answer is on each path, and what is drawn of it.
ANSWER = {
    "in-process": STRIKE_FIRST,
    "midi": TRIP_FIRST,
    "cable": BARE,
    "keyboard": STRIKE_FIRST,
}
_DRAWN = {
    "in-process": (STRIKE_FIRST, SCHEDULING),
    "midi": (STRIKE_FIRST, TRIP_FIRST, BARE, SCHEDULING),
    "cable": (BARE,),
    "keyboard": FIGURES_OF["keyboard"][:2],
}
_JACK_PERIOD = (
    "JACK hands messages over once an audio period ({}), so a round trip lasts one to two "
    "periods and the program's own share hides below one: the figures by the engine's stamps "
    "show it."
)
# jackd(1), --sync; what it does here was measured (docs/latency.md).
_JACK_LOSES = (
    "A client that is late for its period loses what that held. Begin the server with 'jackd -S', "
    "which waits for its clients, and compare."
)


def report(found: Result, samples: Sequence[Sample], width: int) -> Iterator[str]:
    """The whole result, without budget and comparison."""
    summaries = found.summaries()
    yield from (f"{name + ':':12} {value}" for name, value in found.setup.items())
    if found.setup.get("system") == "JACK":
        yield from wrapped(_JACK_PERIOD.format(found.setup["period"]), width)
    yield ""
    yield from _table(found, width)
    yield ""
    for figure in found.figures:
        yield from wrapped(f"{figure.id}: {figure.definition}.", width, "  ")
    if found.setup.get("system") == "JACK" and any(figure.lost for figure in found.figures):
        yield ""
        yield from wrapped(_JACK_LOSES, width)
    yield from _bare_share(found, width)
    yield from _notes(found, width)
    yield ""
    yield from wrapped(_wire(), width)
    for name in _DRAWN[found.path]:
        values = [sample.value_ns for sample in of_figure(name, samples)]
        if values:
            yield from ("", f"{name}, {len(values)} values:", *bars(values, width))
    yield ""
    answer = ANSWER[found.path]
    yield from wrapped(f"{answer}: {verdict(summaries[answer])}", width)


def _table(found: Result, width: int) -> Iterator[str]:
    """A row a figure; where that is too wide, its name stands in a line of its own."""
    wide = max(len(figure.id) for figure in found.figures)
    narrow = width < wide + len(_row(STATISTICS, ("count", "lost", "late")))
    lead = 2 if narrow else wide
    yield " " * lead + _row(STATISTICS, ("count", "lost", "late"))
    for figure in found.figures:
        times = [time(figure.values_ns[name]) for name in STATISTICS]
        row = _row(times, (figure.count, figure.lost, figure.late))
        if narrow:
            yield figure.id
        yield f"{'' if narrow else figure.id:{lead}}{row}"


def _row(times: Sequence[str], counts: Sequence[object]) -> str:
    return "".join(f"{text:>9}" for text in times) + "{:>8}{:>6}{:>6}".format(*counts)


def _bare_share(found: Result, width: int) -> Iterator[str]:
    """The program's own share: what it adds to the bare path, percentile by percentile."""
    summaries = found.summaries()
    for name in OVER_BARE[found.path]:
        parts = list(_shares(summaries[name], summaries[BARE]))
        if parts:
            yield ""
            text = f"{name} minus {BARE}, and as a multiple of it: {'; '.join(parts)}."
            yield from wrapped(text, width)


def _shares(figure: Summary, bare: Summary) -> Iterator[str]:
    for name in PERCENTILES:
        value, bottom = figure.values_ns[name], bare.values_ns[name]
        if value is not None and bottom:
            yield f"{name} {time(value - bottom)}, x {value / bottom:.2f}"


def _notes(found: Result, width: int) -> Iterator[str]:
    if found.note_ons_back is not None:
        yield ""
        took, back = found.note_ons, found.note_ons_back
        yield from wrapped(f"Notes: the engine's output took {took}, {back} came back.", width)
    if found.drift_ns is not None:
        yield from wrapped(
            "Drift: the last fifth of the figure's notes is in the median "
            f"{time(found.drift_ns)} later than the first fifth.",
            width,
        )


def _wire() -> str:
    chord = [note_on(0, note, 64) for note in (48, 55, 64, 67, 72)]
    plain, running = (time(wire_ns(chord, running_status=running)) for running in (False, True))
    return (
        f"On top of that, a DIN port's wire takes {time(BYTE_NS)} a byte (MIDI 1.0: 31,250 baud): "
        f"a note {time(wire_ns(chord[:1], running_status=False))}, a chord of five {plain}, with "
        f"running status {running}. USB and ports inside the machine have no such limit."
    )


def compared(now: Result, then: Result, width: int) -> Iterator[str]:
    """A run against a kept one: what of the set-up differs, then each figure both have."""
    yield f"Compared with the run of {then.made}:"
    names = dict.fromkeys([*then.setup, *now.setup])
    differing = [
        f"{name} was {then.setup.get(name, 'unknown')}, is {now.setup.get(name, 'unknown')}"
        for name in names
        if then.setup.get(name) != now.setup.get(name)
    ]
    text = f"The set-up differs: {'; '.join(differing)}." if differing else "The same set-up."
    yield from wrapped(text, width, "  ")
    before = then.summaries()
    for figure in now.figures:
        if figure.id in before:
            parts = ", ".join(
                _change(name, before[figure.id], figure.summary()) for name in _COMPARED
            )
            yield from wrapped(f"{figure.id}: {parts}", width, "  ")


def _change(name: str, then: Summary, now: Summary) -> str:
    before, after = then.values_ns[name], now.values_ns[name]
    ratio = f" (x {after / before:.2f})" if before and after is not None else ""
    return f"{name} {time(before)} -> {time(after)}{ratio}"


def judged(judgements: Sequence[Judgement], width: int) -> Iterator[str]:
    yield "Budget:"
    for judgement in judgements:
        word = "met" if judgement.met else "MISSED"
        yield from wrapped(f"{word}: {judgement.demand.text}: {judgement.found}", width, "  ")


def wrapped(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, max(width, 40), initial_indent=indent, subsequent_indent=indent + "  " * bool(indent)
    )
