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
from ripieno.style.model import COMMON_TIME

_PARTS = 1000  # of a nanosecond, to which a beat's length is rounded


class HandsSide:
    """`lean` is how closely the hands are followed, 0 (steady) to 100 (leaning).

    `later_ns`: by how much the music is to be later than they are.
    """

    def __init__(self, lean: int) -> None:
        self.lean = lean
        self.later_ns = 0
        self._follower: HandsFollower | None = None
        self._origin = Fraction(0)  # the downbeat that its places are counted from
        self._meter = COMMON_TIME
        self._heard: int | None = None  # a strike that is still to be followed
        self._change_ns: int | None = None  # when the tempo is to change without a strike

    def begin(self, transport: Transport, now_ns: int) -> None:
        """Whatever the hands did before, this is where the music is and how fast."""
        self.later_ns, self._origin, self._meter = 0, transport.bar_quarters, transport.meter
        course = self._course(transport, now_ns)
        self._follower = HandsFollower(
            now_ns,
            course.position_beats,
            course.beat_ns,
            self.lean,
            transport.meter.beats,
            parts=3 if transport.meter.is_compound else 2,
        )
        self._heard = self._change_ns = None

    def told(self, transport: Transport, now_ns: int) -> None:
        """This is the tempo from now on; what the hands usually do is known."""
        follower, course = self._followed, self._course(transport, now_ns)
        follower.lean = self.lean
        follower.told(now_ns - self.later_ns, course.position_beats, course.beat_ns)
        self._heard = self._change_ns = None

    def moved(self, transport: Transport, now_ns: int) -> None:
        """This is where the beat is, for now: the strikes to come may put it elsewhere."""
        played = self._course(transport, now_ns)
        estimate, _ = self._estimate(played, now_ns)
        ahead = estimate.position(now_ns) - played.position_beats
        self._followed.move(round(ahead * estimate.beat_ns))
        self._change_ns = now_ns + 1

    def recounted(self, transport: Transport, now_ns: int) -> None:
        """The bars are others. In the same meter the beats are those that the hands strike."""
        if transport.meter != self._meter:
            self.begin(transport, now_ns)

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
        course, _ = self._followed.course_at(now_ns - self.later_ns)
        return _in_parts(course.beat_ns) / transport.meter.beat_quarters

    def bend(self, transport: Transport, now_ns: int) -> Transport:
        """The transport from now on: in the same place, and towards where the hands have it."""
        if self._heard is not None:
            self._followed.lean = self.lean
            self._followed.strike(self._heard)
            self._heard = None
        played = self._course(transport, now_ns)
        estimate, turns_ns = self._estimate(played, now_ns)
        answer = bent(now_ns, played, estimate, self.lean)
        self._change_ns = min(
            (change for change in (answer.next_change_ns, turns_ns) if change is not None),
            default=None,
        )
        beat_ns = _in_parts(answer.course.beat_ns)
        return transport.at_tempo(now_ns, beat_ns / transport.meter.beat_quarters)

    @property
    def _followed(self) -> HandsFollower:
        assert self._follower is not None, "the time has begun"
        return self._follower

    def _estimate(self, played: Course, now_ns: int) -> tuple[Course, int | None]:
        """Where the music is by the hands, and until when; in the bar in which it is played."""
        later_ns = self.later_ns
        course, turns_ns = self._followed.course_at(now_ns - later_ns)
        late = replace(course, at_ns=course.at_ns + later_ns)
        estimate = _in_bar(late, played, self._meter.beats)
        return estimate, None if turns_ns is None else turns_ns + later_ns

    def _course(self, transport: Transport, now_ns: int) -> Course:
        beat = transport.meter.beat_quarters
        place = (transport.position_at(now_ns) - self._origin) / beat
        return Course(now_ns, float(place), float(transport.ns_per_quarter * beat))


def _in_parts(beat_ns: float) -> Fraction:
    return Fraction(round(beat_ns * _PARTS), _PARTS)


def _in_bar(estimate: Course, played: Course, beats: int) -> Course:
    """The estimate with as many whole bars more or less as bring it nearest to what is played."""
    ahead = estimate.position(played.at_ns) - played.position_beats
    bars = round(ahead / beats)
    return replace(estimate, position_beats=estimate.position_beats - bars * beats)
