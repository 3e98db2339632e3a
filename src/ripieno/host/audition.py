"""A style heard before it is chosen: some chords in it, by a thread that waits between them.

A key of the player's ends it. By then the engine has taken that key, and perhaps more of a chord,
for the style that was heard; so what was played until the audition's end is played again after it.
"""

import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from threading import Event, Thread

from ripieno.perform import events as ev
from ripieno.perform.chosen import Chosen
from ripieno.perform.events import Input
from ripieno.perform.settings import ReadKeys
from ripieno.style.model import Style
from ripieno.units import NS_PER_S, ns_per_quarter

# Of the demo's song: in E flat, in root position.
CHORDS = ((51, 55, 58), (56, 60, 63), (58, 62, 65), (51, 55, 58))
_VELOCITY = 74
# A chord that is to change on a beat is pressed before it, as players do.
_AHEAD_NS = 30_000_000

_Told = ev.KeyDown | ev.KeyUp | ev.Stop


class Audition:
    """From its making until it is over, a key goes down or `end` is called.

    Then `chosen` plays again. `heard` is for one thread.
    """

    def __init__(self, style: Style, chosen: Chosen, submit: Callable[[Input], None]) -> None:
        self.style = style
        self._chosen = chosen
        self._submit = submit
        self._ended = Event()
        self._own: deque[_Told] = deque()  # told the engine, and not yet heard of
        self._played: list[ev.KeyDown | ev.KeyUp] = []  # by the player meanwhile
        self._last: ev.Stop | None = None  # with which it ends
        self._thread = Thread(target=self._run, name="ripieno-audition", daemon=True)
        self._thread.start()

    @property
    def is_on(self) -> bool:
        return self._thread.is_alive()

    def end(self) -> None:
        """Returns when it is over."""
        self._ended.set()
        self._thread.join()

    def heard(self, event: Input) -> None:
        """The engine has taken an event, of ours or another, in its order."""
        if not isinstance(event, _Told):
            return
        if self._own and event == replace(self._own[0], at_ns=event.at_ns):
            if self._own.popleft() is self._last:
                self._play_again()
        elif not isinstance(event, ev.Stop):
            self._heard_player(event)

    def _heard_player(self, event: ev.KeyDown | ev.KeyUp) -> None:
        if self._last is None or self._last in self._own:
            self._played.append(event)
            if isinstance(event, ev.KeyDown):
                self._ended.set()
        elif isinstance(event, ev.KeyUp) and self._will_press(event):
            self._tell(replace(event, at_ns=_now_ns()))

    def _will_press(self, event: ev.KeyUp) -> bool:
        """Whether a key that has come up goes down once more, as it was not known of yet."""
        return any(
            isinstance(own, ev.KeyDown) and (own.note, own.channel) == (event.note, event.channel)
            for own in self._own
        )

    def _play_again(self) -> None:
        """What the player did is done once more, now that all is as it was chosen.

        A key comes up first, for it was pressed where the style heard had it.
        """
        for event in self._played:
            if isinstance(event, ev.KeyDown):
                self._tell(ev.KeyUp(_now_ns(), event.note, channel=event.channel))
            self._tell(replace(event, at_ns=_now_ns()))

    def _run(self) -> None:
        meter = self.style.own_meter
        before = self._chosen.settings
        bar_ns = int(ns_per_quarter(before.bpm, meter.beat_quarters) * meter.bar_quarters)
        for event in _alone(self.style):
            self._submit(event)
        begin_ns = _now_ns()
        for bar, keys in enumerate(CHORDS):
            if self._wait_until(begin_ns + bar * bar_ns - (_AHEAD_NS if bar else 0)):
                break
            self._press(keys)
        else:
            self._wait_until(begin_ns + len(CHORDS) * bar_ns)
        self._tell(ev.Stop(_now_ns()))
        for event in _back(self._chosen):
            self._submit(event)
        last = ev.Stop(_now_ns())
        self._own.append(last)  # before it is known to `heard`, that looks for it there
        self._last = last
        self._submit(last)

    def _press(self, keys: tuple[int, ...]) -> None:
        for note in keys:
            self._tell(ev.KeyDown(_now_ns(), note, _VELOCITY))
        for note in keys:
            self._tell(ev.KeyUp(_now_ns(), note))

    def _tell(self, event: _Told) -> None:
        self._own.append(event)
        self._submit(event)

    def _wait_until(self, at_ns: int) -> bool:
        """Whether it was ended meanwhile."""
        return self._ended.wait(max(0, at_ns - _now_ns()) / NS_PER_S)


def _alone(style: Style) -> list[Input]:
    """The style as it is by itself, both hands of it, whatever is chosen."""
    return [
        ev.SetStyle(_now_ns(), style),
        ev.SetMeter(_now_ns(), style.own_meter),
        ev.SetHold(_now_ns(), hold=True),
        ev.SetTranspose(_now_ns(), 0),
        ev.SetSplit(_now_ns(), None),
        ev.SetReading(_now_ns(), ReadKeys.PLAYED),
        ev.SetMuted(_now_ns(), None),
    ]


def _back(chosen: Chosen) -> list[Input]:
    settings = chosen.settings
    return [
        ev.SetStyle(_now_ns(), chosen.style),
        ev.SetMeter(_now_ns(), settings.meter),
        ev.SetHold(_now_ns(), hold=settings.hold),
        ev.SetTranspose(_now_ns(), settings.transpose),
        ev.SetSplit(_now_ns(), settings.split),
        ev.SetReading(_now_ns(), settings.reading),
        ev.SetMuted(_now_ns(), settings.muted),
    ]


def _now_ns() -> int:
    return time.monotonic_ns()
