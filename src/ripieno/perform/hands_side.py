"""The hands as those who lead the time: how strikes bend the transport.

Places are counted in beats from a downbeat, so that the follower knows the bar. Where it comes to
see that the hands are bars ahead or behind, as after a wrong guess, those are not made up for:
that is what a band does that has lost its player, and it meets him in the bar instead.
"""

from dataclasses import replace
from fractions import Fraction

from ripieno.perform.bending import bent
from ripieno.perform.following import Course, HandsFollower
from ripieno.perform.transport import Transport

_PARTS = 1000  # of a nanosecond, to which a beat's length is rounded


class HandsSide:
    """`lean` is how closely the hands are followed, 0 (steady) to 100 (leaning)."""

    def __init__(self, lean: int) -> None:
        self.lean = lean
        self._follower: HandsFollower | None = None
        self._heard: int | None = None  # a strike that is still to be followed
        self._change_ns: int | None = None  # when the tempo is to change without a strike

    def begin(self, transport: Transport, now_ns: int) -> None:
        """Whatever the hands did before, this is where the music is and how fast."""
        course = _course(transport, now_ns)
        meter = transport.meter
        self._follower = HandsFollower(
            now_ns,
            course.position_beats,
            course.beat_ns,
            self.lean,
            meter.beats,
            parts=3 if meter.is_compound else 2,
        )
        self._heard = self._change_ns = None

    def struck(self, at_ns: int, strike_ns: int) -> None:
        """A strike whose last key came at `strike_ns`. It is followed when its notes are out."""
        self._heard = strike_ns
        self._change_ns = at_ns + 1

    @property
    def due_ns(self) -> int | None:
        """When to ask for the next bend."""
        return self._change_ns

    def quarter_at(self, now_ns: int, transport: Transport) -> Fraction:
        """How long a quarter lasts by the hands, whatever is played to meet them."""
        assert self._follower is not None, "the time has begun"
        beat_ns = self._follower.course_at(now_ns)[0].beat_ns
        return _in_parts(beat_ns) / transport.meter.beat_quarters

    def bend(self, transport: Transport, now_ns: int) -> Transport:
        """The transport from now on: in the same place, and towards where the hands have it."""
        assert self._follower is not None, "the time has begun"
        if self._heard is not None:
            self._follower.lean = self.lean
            self._follower.strike(self._heard)
            self._heard = None
        played = _course(transport, now_ns)
        course, turns_ns = self._follower.course_at(now_ns)
        estimate = _in_bar(course, played, transport.meter.beats)
        answer = bent(now_ns, played, estimate, self.lean)
        self._change_ns = min(
            (change for change in (answer.next_change_ns, turns_ns) if change is not None),
            default=None,
        )
        beat_ns = _in_parts(answer.course.beat_ns)
        return transport.at_tempo(now_ns, beat_ns / transport.meter.beat_quarters)


def _in_parts(beat_ns: float) -> Fraction:
    return Fraction(round(beat_ns * _PARTS), _PARTS)


def _course(transport: Transport, now_ns: int) -> Course:
    beat = transport.meter.beat_quarters
    place = (transport.position_at(now_ns) - transport.bar_quarters) / beat
    return Course(now_ns, float(place), float(transport.ns_per_quarter * beat))


def _in_bar(estimate: Course, played: Course, beats: int) -> Course:
    """The estimate with as many whole bars more or less as bring it nearest to what is played."""
    ahead = estimate.position(played.at_ns) - played.position_beats
    bars = round(ahead / beats)
    return replace(estimate, position_beats=estimate.position_beats - bars * beats)
