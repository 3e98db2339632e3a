"""The journal of a daemon: one session after another, each replayable by itself.

A session begins with the first key, not with what is chosen before it, and ends where the music
has stopped and it has become long, or with its engine. The player's choices until then stand in
its header. What was chosen is taken from what the engine says it has done, in its order.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from ripieno.engine.loop import Timed
from ripieno.host.sessions import Sessions
from ripieno.perform import message
from ripieno.perform.chosen import Chosen, is_choice
from ripieno.perform.clock import TICKS_A_SIXTEENTH
from ripieno.perform.clock_side import REMEMBERED, heard_bpm
from ripieno.perform.events import (
    ClockContinue,
    ClockStart,
    ClockStop,
    ClockTick,
    Controller,
    Input,
    Nudge,
    Scale,
    Send,
    SetFollow,
    SetTempo,
    Silence,
    SongPosition,
    Stop,
)
from ripieno.perform.performer import Heard
from ripieno.perform.settings import MOST_NUDGE_MS, Follow, playable_bpm
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
        self._factor = Fraction(1)  # to its tempo
        self._song_runs = False  # by a clock
        self._song_ticks = 0  # that it has come so far

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
        self._chosen, self._expression = chosen, None
        self._follow_anew()

    def _add(self, event: Input) -> None:
        if self._is_over:
            self._end()
        if self._start_ns is None and self._begins_one(event):
            self._begin(event)
        if self._start_ns is not None:
            self._sessions.add([event])
            self._latest_ns = event.at_ns
            self._is_over = self._ends(event, self._start_ns)
        self._chosen = self._chosen.after(event)
        self._note(event)

    def _begins_one(self, event: Input) -> bool:
        """Whether a session begins with an event: not with what the next one is told anyway."""
        if isinstance(event, Controller) and self._is_expression(event):
            return False
        return not (is_choice(event) or isinstance(event, _IDLE))

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
        self._sessions.add(self._song(start_ns, len(ticks)))
        self._sessions.add(ticks if self._factor == 1 else self._scaled(ticks))

    def _song(self, at_ns: int, ticks: int) -> list[Input]:
        """Where a clock's song is, so many ticks ago if it runs: then it goes on from there."""
        since_ticks = max(0, self._song_ticks - ticks) if self._song_runs else self._song_ticks
        if not since_ticks:
            return []
        place = SongPosition(at_ns, *divmod(since_ticks, TICKS_A_SIXTEENTH))
        return [place, ClockContinue(at_ns)] if self._song_runs else [place]

    def _scaled(self, ticks: list[ClockTick]) -> list[Input]:
        """With half or double time before the last: of a clock that is heard by then.

        The tempo that was chosen has it already.
        """
        early = max(1, len(ticks) - 1)
        at_ns = ticks[early - 1].at_ns
        tempo = SetTempo(at_ns, self._chosen.settings.bpm)
        return [*ticks[:early], *_scales(at_ns, self._factor), tempo, *ticks[early:]]

    def _note(self, event: Input) -> None:
        """What of an event goes on into the next session, and no choice tells."""
        match event:
            case ClockTick():
                self._ticks.append(event)
                self._song_ticks += self._song_runs
            case ClockStart():
                self._song_runs, self._song_ticks = True, 0
            case ClockContinue():
                self._song_runs = True
            case SongPosition():
                self._song_ticks = event.sixteenths * TICKS_A_SIXTEENTH + event.ticks
            case ClockStop():
                self._song_runs = False
            case SetFollow():
                self._follow_anew()
            case Nudge() if self._chosen.settings.follow is Follow.CLOCK:
                self._later_ms += event.later_ms
            case Scale() if self._scales_clock(event):
                self._factor *= event.factor
            case Controller() if self._is_expression(event):
                self._expression = event

    def _follow_anew(self) -> None:
        self._ticks.clear()
        self._later_ms, self._factor = 0.0, Fraction(1)
        self._song_runs, self._song_ticks = False, 0

    def _scales_clock(self, event: Scale) -> bool:
        """Whether half or double time is one of a clock: that is heard, and stays a tempo."""
        settings = self._chosen.settings
        bpm = heard_bpm([tick.at_ns for tick in self._ticks], event.at_ns)
        if settings.follow is not Follow.CLOCK or bpm is None:
            return False
        beats = bpm * float(self._factor * event.factor / settings.meter.beat_quarters)
        return beats == playable_bpm(beats)

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


def _scales(at_ns: int, factor: Fraction) -> list[Scale]:
    """As many halves or doubles as it takes."""
    over, under = factor.as_integer_ratio()
    doubles, halves = over.bit_length() - 1, under.bit_length() - 1
    return [Scale(at_ns, Fraction(2))] * doubles + [Scale(at_ns, Fraction(1, 2))] * halves
