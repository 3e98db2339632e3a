"""The journal of a daemon: one session after another, each replayable by itself.

A session begins with the first key, not with what is chosen before it, and ends where the music
has stopped and it has become long, or with its engine. The player's choices until then stand in
its header. What was chosen is taken from what the engine says it has done, in its order.
"""

from collections import deque
from collections.abc import Iterable

from ripieno.engine.loop import Timed
from ripieno.host.sessions import Sessions
from ripieno.perform.chosen import Chosen, is_choice
from ripieno.perform.clock_side import REMEMBERED
from ripieno.perform.events import (
    ClockStop,
    ClockTick,
    Input,
    Send,
    SetFollow,
    Silence,
    Stop,
)
from ripieno.perform.performer import Heard
from ripieno.units import NS_PER_MINUTE

# What does not begin a session.
_IDLE = (Stop, Silence, ClockTick, ClockStop)
LONG_NS = 30 * NS_PER_MINUTE  # a session this long ends at the next stop


class Record:
    """For one thread."""

    def __init__(self, sessions: Sessions, chosen: Chosen) -> None:
        self._sessions = sessions
        self._chosen = chosen
        self._start_ns: int | None = None  # of the session that is being written
        self._latest_ns = self._played_ns = 0
        self._ticks: deque[ClockTick] = deque(maxlen=REMEMBERED)
        self._is_over = False  # but for what its last stop lets go

    def add(self, news: Iterable[Timed]) -> None:
        """What the engine has done, in its order."""
        for timed in news:
            happening = timed.happening
            if isinstance(happening, Send | Heard):
                if self._start_ns is not None:
                    self._sessions.add([happening])
            else:
                self._add(happening)

    def end(self, chosen: Chosen) -> None:
        """The engine has ended; the next one begins with `chosen`."""
        self._end()
        self._chosen = chosen

    def _add(self, event: Input) -> None:
        if self._is_over:
            self._end()
        if self._start_ns is None and not (is_choice(event) or isinstance(event, _IDLE)):
            self._begin(event)
        if self._start_ns is not None:
            self._sessions.add([event])
            self._latest_ns = event.at_ns
            self._is_over = self._ends(event, self._start_ns)
        self._chosen = self._chosen.after(event)
        self._note_clock(event)

    def _ends(self, event: Input, start_ns: int) -> bool:
        """Whether a session ends with an event: a stop in a long one, or long only a clock."""
        if isinstance(event, ClockTick):
            return event.at_ns - self._played_ns > LONG_NS
        self._played_ns = event.at_ns
        return event.at_ns - start_ns > LONG_NS and isinstance(event, Stop | Silence | ClockStop)

    def _begin(self, event: Input) -> None:
        """A session, with the ticks of a clock that what is played goes by."""
        ticks = list(self._ticks)
        self._start_ns = (ticks[0] if ticks else event).at_ns
        self._sessions.begin(self._chosen.settings, self._chosen.style, self._start_ns)
        self._sessions.add(ticks)

    def _note_clock(self, event: Input) -> None:
        if isinstance(event, ClockTick):
            self._ticks.append(event)
        elif isinstance(event, SetFollow):
            self._ticks.clear()

    def _end(self) -> None:
        if self._start_ns is not None:
            self._sessions.end(self._latest_ns - self._start_ns + 1)
        self._start_ns, self._is_over = None, False
