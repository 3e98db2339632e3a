"""The journal of a daemon: one session after another, each replayable by itself.

A session begins with the first key, not with what is chosen before it, and ends where the music
has stopped and it has become long, or with its engine. The player's choices until then stand in
its header. What was chosen is taken from what the engine says it has done, in its order.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import replace

from ripieno.engine.loop import Timed
from ripieno.host.sessions import Sessions
from ripieno.perform import message
from ripieno.perform.chosen import Chosen, is_choice
from ripieno.perform.clock_side import REMEMBERED
from ripieno.perform.events import (
    ClockContinue,
    ClockStart,
    ClockStop,
    ClockTick,
    Controller,
    Input,
    Nudge,
    Send,
    SetFollow,
    Silence,
    Stop,
)
from ripieno.perform.performer import Heard
from ripieno.perform.settings import MOST_NUDGE_MS, Follow
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
        self._expression: Controller | None = None
        self._later_ms = 0.0  # than the clock that is followed
        self._song_runs = False  # by a clock

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
        self._note(event)

    def _ends(self, event: Input, start_ns: int) -> bool:
        """Whether a session ends with an event: a stop in a long one, or long only a clock."""
        if isinstance(event, ClockTick):
            return event.at_ns - self._played_ns > LONG_NS
        self._played_ns = event.at_ns
        is_stop = isinstance(event, Stop | Silence | ClockStop)
        return is_stop and event.at_ns - start_ns > LONG_NS and not self._song_runs

    def _begin(self, event: Input) -> None:
        """A session, with all from before it that what is played goes by."""
        ticks = list(self._ticks)
        self._start_ns = start_ns = (ticks[0] if ticks else event).at_ns
        self._sessions.begin(self._chosen.settings, self._chosen.style, start_ns)
        if self._expression is not None:
            self._sessions.add([replace(self._expression, at_ns=start_ns)])
        self._sessions.add(_nudges(start_ns, self._later_ms))
        self._sessions.add(ticks)

    def _note(self, event: Input) -> None:
        """What of an event goes on into the next session, and no choice tells."""
        match event:
            case ClockTick():
                self._ticks.append(event)
            case ClockStart() | ClockContinue():
                self._song_runs = True
            case ClockStop():
                self._song_runs = False
            case SetFollow():
                self._ticks.clear()
                self._later_ms, self._song_runs = 0.0, False
            case Nudge() if self._chosen.settings.follow is Follow.CLOCK:
                self._later_ms += event.later_ms
            case Controller() if self._is_expression(event):
                self._expression = event

    def _is_expression(self, event: Controller) -> bool:
        own = event.channel == self._chosen.settings.channel
        return own and event.number == message.EXPRESSION

    def _end(self) -> None:
        if self._start_ns is not None:
            self._sessions.end(self._latest_ns - self._start_ns + 1)
        self._start_ns, self._is_over = None, False


def _nudges(at_ns: int, later_ms: float) -> list[Nudge]:
    """As many as it takes."""
    whole, rest = divmod(abs(later_ms), MOST_NUDGE_MS)
    sign = 1 if later_ms > 0 else -1
    sizes = [*[MOST_NUDGE_MS] * int(whole), *([rest] if rest else [])]
    return [Nudge(at_ns, sign * size) for size in sizes]
