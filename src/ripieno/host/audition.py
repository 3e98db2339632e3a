"""A style heard before it is chosen: some chords in it, by a thread that waits between them."""

import time
from collections.abc import Callable
from threading import Event, Thread

from ripieno.perform import events as ev
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import Input
from ripieno.style.model import Style
from ripieno.units import NS_PER_S, ns_per_quarter

# Of the demo's song: in E flat, in root position.
CHORDS = ((51, 55, 58), (56, 60, 63), (58, 62, 65), (51, 55, 58))
_VELOCITY = 74
# A chord that is to change on a beat is pressed before it, as players do.
_AHEAD_NS = 30_000_000


class Audition:
    """From its making until it is over or `end` is called. Then `chosen` plays again."""

    def __init__(self, style: Style, chosen: Chosen, submit: Callable[[Input], None]) -> None:
        self.style = style
        self._chosen = chosen
        self._submit = submit
        self._ended = Event()
        self._thread = Thread(target=self._run, name="ripieno-audition", daemon=True)
        self._thread.start()

    @property
    def is_on(self) -> bool:
        return self._thread.is_alive()

    def end(self) -> None:
        """Returns when it is over."""
        self._ended.set()
        self._thread.join()

    def _run(self) -> None:
        meter = self.style.own_meter
        before = self._chosen.settings
        bar_ns = int(ns_per_quarter(before.bpm, meter.beat_quarters) * meter.bar_quarters)
        self._submit(ev.SetStyle(_now_ns(), self.style))
        self._submit(ev.SetMeter(_now_ns(), meter))
        self._submit(ev.SetHold(_now_ns(), hold=True))
        self._submit(ev.SetTranspose(_now_ns(), 0))
        self._submit(ev.SetSplit(_now_ns(), None))
        begin_ns = _now_ns()
        for bar, keys in enumerate(CHORDS):
            if self._wait_until(begin_ns + bar * bar_ns - (_AHEAD_NS if bar else 0)):
                break
            self._press(keys)
        else:
            self._wait_until(begin_ns + len(CHORDS) * bar_ns)
        self._submit(ev.Stop(_now_ns()))
        for event in _back(self._chosen):
            self._submit(event)

    def _press(self, keys: tuple[int, ...]) -> None:
        for note in keys:
            self._submit(ev.KeyDown(_now_ns(), note, _VELOCITY))
        for note in keys:
            self._submit(ev.KeyUp(_now_ns(), note))

    def _wait_until(self, at_ns: int) -> bool:
        """Whether it was ended meanwhile."""
        return self._ended.wait(max(0, at_ns - _now_ns()) / NS_PER_S)


def _back(chosen: Chosen) -> list[Input]:
    settings = chosen.settings
    return [
        ev.SetStyle(_now_ns(), chosen.style),
        ev.SetMeter(_now_ns(), settings.meter),
        ev.SetHold(_now_ns(), hold=settings.hold),
        ev.SetTranspose(_now_ns(), settings.transpose),
        ev.SetSplit(_now_ns(), settings.split),
    ]


def _now_ns() -> int:
    return time.monotonic_ns()
