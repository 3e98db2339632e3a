"""One run on a ground: strikes first, then a running figure, with the bare path all along."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from ripieno.latency.ground import Ground
from ripieno.latency.load import Load, loaded
from ripieno.latency.plan import SPLIT, Plan, round_ns
from ripieno.latency.player import Found, Player
from ripieno.perform.events import SetStyle, Stop
from ripieno.perform.settings import Settings
from ripieno.style.model import Style
from ripieno.units import NS_PER_MS, NS_PER_S

BPM = 120.0
_TRIED = 20  # messages on the bare path before the run, to see how long an answer takes
_SETTLE_NS = 12 * NS_PER_MS  # at least


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be measured.

    `at_once` are styles that answer a strike at once, `dense` such as run in short steps; the
    first of each is played, and under load all of them in turn. `strikes` is how many chords
    of each kind, `seconds` how long the figure runs.
    """

    strikes: int
    seconds: float
    seed: int
    load: bool
    at_once: tuple[Style, ...]
    dense: tuple[Style, ...]

    @property
    def settings(self) -> Settings:
        return Settings(bpm=BPM, split=SPLIT, seed=self.seed)

    def about_s(self) -> float:
        """How long the run takes where answers come soon."""
        return self.strikes * round_ns(_SETTLE_NS) / NS_PER_S + self.seconds


def measure(ground: Ground, order: Order) -> Found:
    """Raises MachineError when the other end is gone or never was there."""
    plan = Plan(order.seed, _settled_ns(ground, order.seed))
    player = Player(ground)
    if ground.engine is None:
        player.play(plan.bare(order.strikes), figure=False)
        player.hear_rest(figure=False)
        return player.found()
    with _under_load(ground, order) as load:
        player.play(plan.strikes(order.strikes), figure=False)
        player.hear_rest(figure=False)
        if load is not None:
            load.styles = order.dense
        ground.engine.submit(SetStyle(time.monotonic_ns(), order.dense[0]))
        player.play(plan.beside_a_figure(round(order.seconds * NS_PER_S)), figure=True)
    ground.engine.submit(Stop(time.monotonic_ns()))
    player.hear_rest(figure=True)
    return player.found()


def _settled_ns(ground: Ground, seed: int) -> int:
    """How long to wait for answers: twice what the bare path takes at most."""
    trial = Player(ground)
    trial.wait_until_open()
    trial.play(Plan(seed, _SETTLE_NS).bare(_TRIED), figure=False)
    trial.hear_rest(figure=False)
    longest_ns = max((sample.value_ns for sample in trial.found().samples), default=0)
    ground.back.clear()
    ground.bare_back.clear()
    return max(_SETTLE_NS, 2 * longest_ns)


@contextmanager
def _under_load(ground: Ground, order: Order) -> Iterator[Load | None]:
    if not order.load:
        yield None
        return
    with loaded(ground, order.settings, order.at_once) as load:
        yield load
