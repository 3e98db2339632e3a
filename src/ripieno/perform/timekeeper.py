"""Who leads the time: the program at a chosen tempo, a MIDI clock, or the player's hands.

Whoever does, the music is always on one `Transport`, a straight line from here on. What happens
to it is one of five `Turn`s, and those who play need to know nothing more:

| turn     | the music                                       | by                                |
|----------|-------------------------------------------------|-----------------------------------|
| STAYS    | goes on as it did                               |                                   |
| BENDS    | is where it was, at another tempo               | tempo, ramps, clock, hands        |
| SHIFTS   | is somewhere else, less than half a beat away   | taps, nudges                      |
| RECOUNTS | is where it was or shifted, in other bars       | a forced downbeat, another meter  |
| JUMPS    | is elsewhere, from the transport's anchor on    | a clock's start, or its song      |

Tempo changes that are planned (ramps, ritardandi) are a row of transports, each taken at its own
anchor. While a clock that is followed is heard, nothing else changes the tempo.
"""

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import replace
from enum import Enum, auto
from fractions import Fraction

from ripieno.perform.clock import TICKS_A_SIXTEENTH
from ripieno.perform.clock_side import ClockSide, Line
from ripieno.perform.curve import RITARDANDO_CURVATURE, RITARDANDO_TO, Curve, along, ramp
from ripieno.perform.hands_side import HandsSide
from ripieno.perform.settings import BPM_RANGE, Follow, Settings
from ripieno.perform.transport import Transport
from ripieno.style.model import Meter
from ripieno.units import ns_from_ms, ns_per_quarter

_FINAL = Curve(RITARDANDO_TO, RITARDANDO_CURVATURE)


class Turn(Enum):
    STAYS = auto()
    BENDS = auto()
    SHIFTS = auto()
    RECOUNTS = auto()
    JUMPS = auto()


# A member is looked up much faster here than in its class, and these are with each step.
_STAYS, _NOBODY = Turn.STAYS, Follow.NONE


class Timekeeper:
    """`transport` is None while the time stands, before the first strike and after a stop.

    `song_is_said`: with the last jump, by the clock; else it has only been met.
    """

    def __init__(self, settings: Settings) -> None:
        self.transport: Transport | None = None
        self.meter = settings.meter
        self.ns_per_quarter = ns_per_quarter(settings.bpm, settings.meter.beat_quarters)
        self.pickup = settings.pickup
        self.follow = settings.follow
        self.song_is_said = False
        self._planned: deque[Transport] = deque()
        self._is_led = False  # by a plan of the player's, a ramp or an ending
        self._ends = False  # to whose last tempo there is nothing after
        self._chosen_ns = self.ns_per_quarter  # a quarter's, before hands and endings bent it
        self._unended_ns = self.ns_per_quarter  # before the last ending
        self._clock = ClockSide()
        self._hands = HandsSide(settings.lean)

    # The course of things.

    def begin(self, at_ns: int, first_ns: int | None = None) -> Transport:
        """The time begins: the music is at its beginning, a downbeat unless there is a pick-up.

        It was there at `first_ns`, if not only now. In the song of a clock that is running it is
        where that is.
        """
        if self._song_is_heard(at_ns):
            begun = self._begun(self._clock.meet_song())
        else:
            if self.follow is Follow.CLOCK:
                self.ns_per_quarter = self._clock.quarter_ns(at_ns) or self.ns_per_quarter
            first = self.pickup % self.meter.beats * self.meter.beat_quarters
            first_ns = at_ns if first_ns is None else first_ns
            begun = Transport(first_ns, Fraction(0), self.ns_per_quarter, self.meter, first)
        self.go_on(at_ns, begun)
        return begun

    def go_on(self, at_ns: int, transport: Transport) -> None:
        """In a time that runs already."""
        self.transport, self.meter = transport, transport.meter
        self.ns_per_quarter = transport.ns_per_quarter
        self._leave_plan()
        self._join(at_ns, self._hands.begin)

    def stop(self) -> None:
        """The time stands. What is played next is at the tempo that was chosen."""
        self.transport = None
        if self.follow is not Follow.CLOCK:
            self.ns_per_quarter = self._chosen_ns
        elif self._ends:
            self.ns_per_quarter = self._unended_ns
        elif not self._is_led:
            self.ns_per_quarter = self._clock.own_quarter_ns or self.ns_per_quarter
        self._leave_plan()

    def due_ns(self) -> int | None:
        """When the tempo changes next: by what is planned, or because a clock is missing."""
        leader_ns = self._leader_due_ns()
        if not self._planned:
            return leader_ns
        planned_ns = self._planned[0].anchor_ns
        return planned_ns if leader_ns is None else min(planned_ns, leader_ns)

    def perform(self, now_ns: int) -> Turn:
        """Take what is planned by now, and what whoever leads has come to."""
        turn = _STAYS
        if (due_ns := self._leader_due_ns()) is not None and due_ns <= now_ns:
            turn = self._go_with_leader(now_ns)
        while self._planned and self._planned[0].anchor_ns <= now_ns:
            turn = self._bend(self._planned.popleft())
        if self._is_led and not self._planned and not self._ends:
            self._is_led = False
            self._join(now_ns, self._hands.told)
        return turn

    def clock_is_heard(self, now_ns: int) -> bool:
        """Whether a clock leads at this instant."""
        return self.follow is Follow.CLOCK and self._clock.is_heard(now_ns)

    def clock_state(self, now_ns: int) -> str:
        """For people: whether the clock that is followed is heard, missing or stopped."""
        if self.follow is not Follow.CLOCK:
            return ""
        if not self._clock.is_heard(now_ns):
            return "missing"
        return "stopped" if self._clock.has_stopped else "heard"

    def song_goes_on(self, now_ns: int) -> bool:
        """Whether a clock that leads has a song under way, whatever plays along."""
        return self.clock_is_heard(now_ns) and self._clock.runs

    def quarter_at(self, now_ns: int) -> Fraction:
        """How long a quarter lasts by whoever leads, whatever the music just makes up for."""
        by_leader: Fraction | None = None
        if self.transport is not None and not self._is_led:
            if self.follow is Follow.CLOCK:
                by_leader = self._clock.own_quarter_ns
            elif self.follow is Follow.HANDS:
                by_leader = self._hands.quarter_at(now_ns, self.transport)
        return by_leader or self.ns_per_quarter

    def coming_quarter_at(self, now_ns: int) -> Fraction:
        """How long one will last when what is planned is done; an ending is not counted."""
        if self._ends:
            return self._unended_ns
        if self._planned:
            return self._planned[-1].ns_per_quarter
        quarter_ns = self.quarter_at(now_ns)
        return quarter_ns / self._clock.coming_factor if self.clock_is_heard(now_ns) else quarter_ns

    @property
    def song_place(self) -> Fraction:
        """Where a clock's song has begun or gone on; what is nudged is elsewhere then."""
        return self._clock.song_place

    # What the player asks for.

    def set_tempo(self, at_ns: int, bpm: float) -> Turn:
        self._chosen_ns = ns_per_quarter(bpm, self.meter.beat_quarters)
        if self.clock_is_heard(at_ns):
            return Turn.STAYS
        self._leave_plan()
        return self._at_tempo(at_ns, self._chosen_ns)

    def ramp(self, at_ns: int, bpm: float, beats: int) -> Turn:
        """To another tempo within so many beats. Where nothing plays, it is the tempo at once."""
        transport = self.transport
        if transport is None or self.clock_is_heard(at_ns):
            return self.set_tempo(at_ns, bpm)
        end = transport.position_at(at_ns) + beats * self.meter.beat_quarters
        self._chosen_ns = ns_per_quarter(bpm, self.meter.beat_quarters)
        self._leave_plan()
        return self._lead(at_ns, ramp(transport, at_ns, bpm, end))

    def end(self, at_ns: int, end: Fraction) -> Turn:
        """A ritardando to a position. Whoever leads is let go: they do not slow down."""
        assert self.transport is not None, "there is something to end"
        self._unended_ns = self.quarter_at(at_ns)
        self._leave_plan()
        self._ends = True
        even = self.transport.at_tempo(at_ns, self._unended_ns)
        return self._lead(at_ns, along(_FINAL, even, at_ns, end))

    def scale(self, at_ns: int, factor: Fraction) -> Turn:
        """Half or double time, from the next beat, so that beats go on falling on beats.

        What was planned, as by the same a moment ago, counts as done. An ending goes on.
        """
        to_ns, transport = self.coming_quarter_at(at_ns) / factor, self.transport
        if self._ends or not self._is_tempo(to_ns):
            return Turn.STAYS
        self._chosen_ns = self._as_tempo(self._chosen_ns / factor)
        by_clock = self.clock_is_heard(at_ns)
        if by_clock:
            self._clock.scale(factor, at_once=transport is None)
        if transport is None:
            self.ns_per_quarter = to_ns
        elif not by_clock:
            self._leave_plan()
            beat = transport.next_beat(transport.position_at(at_ns))
            self._lead(at_ns, [transport.going_on(transport.due_ns(beat), beat, to_ns)])
        return Turn.STAYS

    def tapped(self, at_ns: int, beat_ns: int, bpm: float) -> Turn:
        """There was a beat at an instant, and this is the tempo."""
        turn = self.set_tempo(at_ns, bpm)
        if turn is Turn.STAYS:
            return turn
        return self._beat_at(at_ns, beat_ns)

    def nudge(self, at_ns: int, later_ms: float) -> Turn:
        """All comes so much later; after a clock that is followed, too."""
        later_ns = ns_from_ms(later_ms)
        if self.follow is Follow.CLOCK:
            self._clock.later_ns += later_ns
        if self.transport is None:
            return Turn.STAYS
        self._planned = deque([_later(planned, later_ns) for planned in self._planned])
        self._bend(_later(self.transport, later_ns))
        self._hands.later_ns += later_ns
        self._join(at_ns, None)
        return Turn.SHIFTS

    def downbeat(self, at_ns: int, beat_ns: int) -> Turn:
        """The beat nearest to an instant begins a bar, and is then.

        Not where a clock has the beat, or a ritardando: there it only begins the bar.
        """
        if self.transport is None:
            return Turn.STAYS
        if not (self._ends or self.clock_is_heard(at_ns)):
            self._leave_plan()
            self._beat_at(at_ns, beat_ns)
        beat = self.transport.nearest_beat(self.transport.position_at(beat_ns))
        return self._count_from(at_ns, beat, self.meter)

    def set_meter(self, at_ns: int, meter: Meter) -> Turn:
        """Another meter, whose first downbeat is the nearest beat. Quarters keep their length."""
        self.meter = meter
        if self.transport is None:
            return Turn.STAYS
        beat = self.transport.nearest_beat(self.transport.position_at(at_ns))
        return self._count_from(at_ns, beat, meter)

    def set_follow(self, at_ns: int, follow: Follow) -> Turn:
        """Somebody else leads from now on; where the music is, it goes on, in the tempo that
        there was. So does an ending.
        """
        before_ns, turn = self.quarter_at(at_ns), Turn.STAYS
        self.follow = follow
        self._clock.forget()
        if not self._ends:
            self._leave_plan()
            turn = self._to_tempo(at_ns, before_ns)
        self._join(at_ns, self._hands.begin)
        return turn

    def set_lean(self, lean: int) -> None:
        self._hands.lean = lean

    def count_in(self, at_ns: int, bars: int) -> Fraction:
        """The downbeat after the bars that are counted from now. Begins the time if it stands.

        In a time that runs, they are counted from its next downbeat.
        """
        is_new = self.transport is None and not self._song_is_heard(at_ns)
        transport = self.transport or self.begin(at_ns)
        if is_new:
            first = bars * self.meter.bar_quarters
            self.transport = replace(transport, bar_quarters=first)
            return first
        downbeat = transport.next_downbeat(transport.position_at(at_ns))
        return downbeat + bars * self.meter.bar_quarters

    def count_as(self, other: Transport) -> None:
        """With the bars of another transport, now and in what is planned."""
        assert self.transport is not None, "there are bars to count"
        self.transport = self.transport.counted_as(other)
        self._planned = deque([planned.counted_as(other) for planned in self._planned])

    # What comes from outside.

    def struck(self, at_ns: int, strike_ns: int) -> None:
        """A chord was struck, of which the last key went down at `strike_ns`."""
        if self._is_free and self.follow is Follow.HANDS:
            self._hands.struck(at_ns, strike_ns)

    def clock_tick(self, at_ns: int) -> Turn:
        """A tick of a clock, which counts only if a clock is followed."""
        if self.follow is not Follow.CLOCK:
            return Turn.STAYS
        starts = self._clock.starts
        line = self._clock.tick(at_ns, self.transport)
        if starts or (self.transport is None and self._clock.runs):
            self._bend(self._begun(line))
            self._leave_plan()
            self.song_is_said = starts
            return Turn.JUMPS
        if self.transport is None:
            self.ns_per_quarter = self._clock.own_quarter_ns or line.ns_per_quarter
            return Turn.STAYS
        return Turn.STAYS if self._is_led else self._bend(_along(line, self.transport))

    def clock_starts(self, *, anew: bool) -> None:
        """With the next tick, from the beginning or from where the song is."""
        self._clock.start(anew=anew)

    def clock_stops(self) -> bool:
        """Whether that stops the music."""
        self._clock.stop()
        is_led = self.follow is Follow.CLOCK and self.transport is not None
        if is_led:
            self.stop()
        return is_led

    def song_position(self, sixteenths: int, ticks: int) -> None:
        self._clock.locate(sixteenths * TICKS_A_SIXTEENTH + ticks)

    # What becomes of the transport.

    def _song_is_heard(self, at_ns: int) -> bool:
        return self.follow is Follow.CLOCK and self._clock.song_is_heard(at_ns)

    def _is_tempo(self, quarter_ns: Fraction) -> bool:
        return quarter_ns == self._as_tempo(quarter_ns)

    def _as_tempo(self, quarter_ns: Fraction) -> Fraction:
        """A quarter's length, or the nearest that is a tempo."""
        slowest, fastest = (ns_per_quarter(bpm, self.meter.beat_quarters) for bpm in BPM_RANGE)
        return min(max(quarter_ns, fastest), slowest)

    @property
    def _is_free(self) -> bool:
        """Whether there is a time that others than the program may lead."""
        return self.transport is not None and not self._is_led

    def _leader_due_ns(self) -> int | None:
        """When a clock is missing, or the hands bend the tempo."""
        if self.follow is _NOBODY or not self._is_free:
            return None
        return self._clock.lost_ns if self.follow is Follow.CLOCK else self._hands.due_ns

    def _go_with_leader(self, now_ns: int) -> Turn:
        assert self.transport is not None, "somebody leads it"
        if self.follow is Follow.HANDS:
            return self._bend(self._hands.bend(self.transport, now_ns))
        line = self._clock.miss(now_ns)
        return Turn.STAYS if line is None else self._bend(_along(line, self.transport))

    def _begun(self, line: Line) -> Transport:
        """In the song of a clock, whose beginning is a downbeat."""
        return Transport(line.at_ns, line.position, line.ns_per_quarter, self.meter)

    def _at_tempo(self, at_ns: int, quarter_ns: Fraction) -> Turn:
        turn = self._to_tempo(at_ns, quarter_ns)
        self._join(at_ns, self._hands.told)
        return turn

    def _to_tempo(self, at_ns: int, quarter_ns: Fraction) -> Turn:
        self.ns_per_quarter = quarter_ns
        if self.transport is None:
            return Turn.STAYS
        return self._bend(self.transport.at_tempo(at_ns, quarter_ns))

    def _bend(self, transport: Transport) -> Turn:
        self.transport, self.ns_per_quarter = transport, transport.ns_per_quarter
        return Turn.BENDS

    def _beat_at(self, at_ns: int, beat_ns: int) -> Turn:
        """Move what is played so that its nearest beat is at an instant."""
        transport = self.transport
        assert transport is not None, "there is something to move"
        beat = transport.nearest_beat(transport.position_at(beat_ns))
        self._bend(transport.going_on(beat_ns, beat, transport.ns_per_quarter))
        self._join(at_ns, self._hands.moved)
        return Turn.SHIFTS

    def _count_from(self, at_ns: int, downbeat: Fraction, meter: Meter) -> Turn:
        assert self.transport is not None, "there are bars to count"
        self.count_as(self.transport.in_meter(downbeat, meter))
        self._join(at_ns, self._hands.recounted)
        return Turn.RECOUNTS

    def _lead(self, at_ns: int, pieces: Iterable[Transport]) -> Turn:
        """The tempo is planned from now on, and nobody else leads."""
        self._planned, self._is_led = deque(pieces), True
        return self.perform(at_ns)

    def _leave_plan(self) -> None:
        self._planned.clear()
        self._is_led = self._ends = False

    def _join(self, at_ns: int, meet: Callable[[Transport, int], None] | None) -> None:
        """Clock and hands lead on from where the music is, which the hands are to `meet`."""
        if self.transport is not None:
            self._clock.join(self.transport, at_ns)
            if self.follow is Follow.HANDS and meet is not None:
                meet(self.transport, at_ns)


def _along(line: Line, transport: Transport) -> Transport:
    """In the same bars, as a clock has it."""
    return transport.going_on(line.at_ns, line.position, line.ns_per_quarter)


def _later(transport: Transport, later_ns: int) -> Transport:
    return replace(transport, anchor_ns=transport.anchor_ns + later_ns)
