"""What events about the time come to: for the accompaniment, the count-in and the clock out."""

from collections.abc import Callable

from ripieno.perform import events as ev
from ripieno.perform.accompaniment import Accompaniment
from ripieno.perform.clock_out import ClockOut
from ripieno.perform.count import Count
from ripieno.perform.events import Input, Send
from ripieno.perform.timekeeper import Turn


class TimeEvents:
    """Hands each event to whoever it is about, and lets the accompaniment take the turn of it."""

    def __init__(self, accompaniment: Accompaniment, count: Count, clock_out: ClockOut) -> None:
        self._playing, self._time = accompaniment, accompaniment.time
        self._count, self._clock_out = count, clock_out
        time = self._time
        self._turns: dict[type, Callable[..., Turn]] = {
            ev.SetTempo: lambda at, e: time.set_tempo(at, e.bpm),
            ev.SetMeter: lambda at, e: time.set_meter(at, e.meter),
            ev.Tapped: lambda at, e: time.tapped(at, e.beat_ns, e.bpm),
            ev.Nudge: lambda at, e: time.nudge(at, e.later_ms),
            ev.Ramp: lambda at, e: time.ramp(at, e.bpm, e.beats),
            ev.Scale: lambda at, e: time.scale(at, e.factor),
            ev.Downbeat: lambda at, e: time.downbeat(at, e.beat_ns),
            ev.SetFollow: lambda at, e: time.set_follow(at, e.follow),
            ev.ClockTick: lambda at, _: time.clock_tick(at),
        }
        self._others: dict[type, Callable[..., None]] = {
            ev.Break: lambda _at, _: self._playing.lift(),
            ev.CountIn: self._count_in,
            ev.Ending: lambda at, e: self._playing.end(at, e.beats),
            ev.SetLean: lambda _, e: time.set_lean(e.lean),
            ev.SetStart: self._set_start,
            ev.SetPickup: self._set_pickup,
            ev.SetSwing: lambda at, e: self._playing.set_swing(at, e.swing),
            ev.SetSendClock: lambda _, e: clock_out.switch(on=e.send_clock),
            ev.ClockStart: lambda _at, _: time.clock_starts(anew=True),
            ev.ClockContinue: lambda _at, _: time.clock_starts(anew=False),
            ev.ClockStop: self._clock_stop,
            ev.SongPosition: lambda _, e: time.song_position(e.sixteenths, e.ticks),
        }

    def take(self, at_ns: int, event: Input) -> None:
        """An event that is about the time."""
        if (turn := self._turns.get(type(event))) is not None:
            self._turn(at_ns, turn(at_ns, event))
        else:
            self._others[type(event)](at_ns, event)

    def silence(self) -> None:
        """All is to be silent, as at the end of the program: the song for others stands too."""
        self._clock_out.stop()

    def due_ns(self) -> int | None:
        """When a click or a tick for others is due."""
        if self._count.is_silent and self._clock_out.is_silent:
            return None
        due = (self._count.due_ns(self._time.transport), self._clock_out.due_ns())
        return min([at for at in due if at is not None], default=None)

    def perform(self, now_ns: int) -> list[Send]:
        """What goes out before everything else: ticks for others, then clicks."""
        if self._count.is_silent and self._clock_out.is_silent:
            return []
        time, transport = self._time, self._time.transport
        clicks = self._count.perform(now_ns, transport)
        goes_on = time.song_goes_on(now_ns)
        if self._playing.has_ended and not goes_on:
            transport = None  # what only dies away is no song for others
        self._clock_out.follow(now_ns, transport, time.ns_per_quarter, song_goes_on=goes_on)
        return [Send(now_ns, data) for data in self._clock_out.perform(now_ns) + clicks]

    def _turn(self, at_ns: int, turn: Turn) -> None:
        transport = self._time.transport
        if turn is Turn.RECOUNTS and self._count.is_under_way and transport is not None:
            here = transport.position_at(at_ns)
            self._playing.count_to(self._count.recount(here, transport))
        self._playing.turn(at_ns, turn)
        if turn is Turn.JUMPS:
            self._count.leave()  # what was counted to is not ahead any more
            if self._time.song_is_said:
                self._clock_out.song_is_at(self._time.song_place)

    def _count_in(self, at_ns: int, event: ev.CountIn) -> None:
        before = self._time.transport
        first, end = self._playing.count_in(at_ns, event.bars)
        assert self._time.transport is not None, "counting begins the time"
        if before is not None and self._time.transport is not before:
            self._clock_out.stop()  # it has begun anew
        self._count.begin(self._time.transport, first, end)

    def _set_start(self, _at_ns: int, event: ev.SetStart) -> None:
        self._playing.start = event.start

    def _set_pickup(self, _at_ns: int, event: ev.SetPickup) -> None:
        self._time.pickup = event.pickup

    def _clock_stop(self, _at_ns: int, _event: ev.ClockStop) -> None:
        if self._time.clock_stops():
            self._playing.halt()
            self._count.leave()
