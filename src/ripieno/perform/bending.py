"""What is played bends towards what is estimated, and never jumps.

The estimate of the beat moves at each strike, at once. What sounds may not: a place in the music
is played once, in its order. So the place goes on from where it is and only the tempo changes.
It makes up the difference in about a beat, and then is the estimate's.

How much the tempo may change at a time: a tone displaced by 2.5 % of the interval between tones
is just noticed (intervals over 240 ms; Friberg and Sundberg, "Time discrimination in a monotonic,
isochronous sequence", Journal of the Acoustical Society of America 98(5), 1995). At lean 0 no
beat differs from the one before by more than that. At lean 100 it is twelve times as much, 30 %:
our choice, since pianists who play freely change the tempo by 10 to 30 % within a bar (common
practice, no source) and whoever leans on a player has to be able to do the same in a beat or two.
"""

from dataclasses import dataclass

from ripieno.perform.following import FASTEST_BPM, SLOWEST_BPM, Course
from ripieno.units import NS_PER_MINUTE

JUST_NOTICED = 0.025  # Friberg and Sundberg 1995
MOST_NOTICED = 12  # times that, at lean 100
ABSORBED_BEATS = 1.0
_NOTHING = 1e-9  # of a beat: less than a nanosecond


@dataclass(frozen=True, slots=True)
class Bend:
    """The course to play from now on; and when to bend again, None: not before a strike."""

    course: Course
    next_change_ns: int | None


def most_change(lean: int) -> float:
    """How much the tempo may change at a time, in parts of it."""
    return JUST_NOTICED * (1 + (MOST_NOTICED - 1) * lean / 100)


def bent(now_ns: int, played: Course, estimate: Course, lean: int) -> Bend:
    """From the place that is being played, towards the estimate. To be asked at each strike, and
    again at `next_change_ns`; `played` is then the course of the last answer.
    """
    here = played.position(now_ns)
    behind = estimate.position(now_ns) - here
    if abs(behind) < _NOTHING:
        behind = 0.0
    beat_ns = _bounded(_catching_up(behind, estimate.beat_ns), played.beat_ns, lean)
    course = Course(now_ns, here, beat_ns)
    if behind == 0 and beat_ns == estimate.beat_ns:
        return Bend(course, None)
    return Bend(course, now_ns + max(1, round(_lasting(behind, beat_ns, estimate.beat_ns))))


def _catching_up(behind: float, beat_ns: float) -> float:
    """The beat's length that makes up for so many beats in the time to absorb them."""
    speed = 1 + behind / ABSORBED_BEATS
    return beat_ns / speed if speed > 0 else NS_PER_MINUTE / SLOWEST_BPM


def _bounded(beat_ns: float, before_ns: float, lean: int) -> float:
    most = 1 + most_change(lean)
    beat_ns = min(max(beat_ns, before_ns / most), before_ns * most)
    return min(max(beat_ns, NS_PER_MINUTE / FASTEST_BPM), NS_PER_MINUTE / SLOWEST_BPM)


def _lasting(behind: float, beat_ns: float, estimate_ns: float) -> float:
    """How long to play so: until nothing is behind, but no longer than the time to absorb it."""
    whole = ABSORBED_BEATS * estimate_ns
    gained = 1 / beat_ns - 1 / estimate_ns
    return min(whole, behind / gained) if behind * gained > 0 else whole
