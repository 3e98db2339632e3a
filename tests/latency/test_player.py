"""The whole of a run, on an engine in this process. Nothing is asserted of how long things take."""

import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from short_run import ORDER, ROUNDS

from ripieno.engine.loop import Timed
from ripieno.engine.messages import Answer, Ready
from ripieno.errors import MachineError
from ripieno.latency import in_process
from ripieno.latency.figures import (
    BARE,
    PASS_THROUGH,
    SCHEDULING,
    SPREAD_FIRST,
    SPREAD_LAST,
    STRIKE_FIRST,
    STRIKE_LAST,
)
from ripieno.latency.ground import Ground
from ripieno.latency.measure import Order, measure
from ripieno.latency.plan import Kind, Plan, Probe
from ripieno.latency.player import Found, Player
from ripieno.latency.trips import Passed
from ripieno.perform.events import Input
from ripieno.units import NS_PER_MS


def run(order: Order) -> Found:
    with in_process.opened(order.settings, order.at_once[0]) as ground:
        return measure(ground, order)


@pytest.mark.parametrize("load", [False, True])
def test_every_probe_is_answered_and_every_figure_measured(*, load: bool) -> None:
    found = run(replace(ORDER, load=load))
    counts = Counter(sample.figure for sample in found.samples)
    for figure in (STRIKE_FIRST, STRIKE_LAST, SPREAD_FIRST, SPREAD_LAST):
        assert counts[figure] == ROUNDS
    assert counts[PASS_THROUGH] > ROUNDS, "beside the figure too"
    assert counts[BARE] > ROUNDS
    assert counts[SCHEDULING] >= 3, "a second of eighths at 120, the first with the strike"
    assert set(found.lost.values()) == {0}


def test_nothing_is_measured_before_it_can_have_happened() -> None:
    found = run(ORDER)
    assert all(sample.value_ns > 0 for sample in found.samples)
    first = {s.at_ns: s.value_ns for s in found.samples if s.figure == STRIKE_FIRST}
    last = {s.at_ns: s.value_ns for s in found.samples if s.figure == STRIKE_LAST}
    assert first.keys() == last.keys()
    assert all(first[at] < last[at] for at in first), "a chord of several notes"


@dataclass
class Way:
    """Comes back until `count` messages have; `back` gets them."""

    back: list[Passed]
    count: int

    def send(self, data: bytes) -> None:
        if len(self.back) < self.count:
            self.back.append(Passed(10**18, data))


@dataclass
class Engine:
    """Runs so long, and says nothing."""

    looks: int = 10**6
    news_taken: list[Timed] = field(default_factory=list)

    @property
    def is_running(self) -> bool:
        self.looks -= 1
        return self.looks > 0

    def submit(self, event: Input) -> None: ...
    def news(self) -> list[Timed]:
        return self.news_taken

    def ask(self) -> Answer:
        raise MachineError("no")

    @property
    def ready(self) -> Ready:
        raise AssertionError("nobody asks")


def bare_probes(count: int) -> Iterator[Probe]:
    return (replace(probe, gap_ns=0) for probe in Plan(1, NS_PER_MS).bare(count))


def test_a_way_that_becomes_silent_ends_the_run() -> None:
    back: list[Passed] = []
    player = Player(Ground(bare=Way(back, 5), bare_back=back))
    with pytest.raises(MachineError, match="the bare path: nothing came back for 30 messages"):
        player.play(bare_probes(1000), figure=False)
    assert len(back) == 5


def test_an_engine_that_ends_ends_the_run() -> None:
    back: list[Passed] = []
    player = Player(Ground(bare=Way(back, 10**6), engine=Engine(looks=20), bare_back=back))
    with pytest.raises(MachineError, match="the engine has ended in the middle of the run"):
        player.play(bare_probes(1000), figure=False)


def test_an_engine_that_says_nothing_ends_the_run() -> None:
    keys = Way([], 0)
    probes = (
        replace(probe, gap_ns=0, messages=probe.messages[:1])
        for probe in Plan(1, NS_PER_MS).strikes(1000)
        if probe.kind is Kind.MELODY
    )
    player = Player(Ground(bare=keys, engine=Engine(), keys=keys))
    with pytest.raises(MachineError, match="the engine: nothing came back for 30 messages"):
        player.play(probes, figure=False)


def test_what_is_lost_on_the_way_is_counted() -> None:
    back: list[Passed] = []
    player = Player(Ground(bare=Way(back, 5), bare_back=back))
    player.play(bare_probes(8), figure=False)
    found = player.found()
    assert found.lost[BARE] == 8, "five came back long after the time-out, three never"


def test_helpers_of_the_load_are_gone_when_it_is_over() -> None:
    run(replace(ORDER, strikes=1, seconds=0.2, load=True))
    assert not helpers_of(os.getpid())


def helpers_of(pid: int) -> list[str]:
    children = Path(f"/proc/{pid}/task/{pid}/children")
    if not children.exists():
        pytest.skip("only Linux lists a process's children")
    lines = [Path(f"/proc/{child}/cmdline").read_text() for child in children.read_text().split()]
    return [line for line in lines if "ripieno.latency" in line]
