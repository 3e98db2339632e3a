"""From what was sent and what came back to figures: round trips, and the bare path's.

Matching is done after the run, so that nobody waits for an answer while it is under way. A
message that comes back as it was sent is told by its bytes, which differ from one to the next.
A chord is answered by the notes that come between its last key and the next chord's.
"""

from bisect import bisect_left
from collections import defaultdict, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ripieno.latency.figures import TIME_OUT_NS, TRIP_FIRST, TRIP_LAST, Sample
from ripieno.perform.message import NOTE_ON

# Of a chord's notes, the next comes sooner than this after the one before: two periods of the
# longest that JACK is run with (2048 frames at 44,100 a second).
_TOGETHER_NS = 93_000_000


@dataclass(frozen=True, slots=True)
class Passed:
    """A message, and the monotonic instant at which it was sent or came back."""

    at_ns: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Trips:
    """The samples, and how many were sent that have none."""

    samples: tuple[Sample, ...]
    lost: int


def echoes(figure: str, sent: Iterable[Passed], back: Iterable[Passed]) -> Trips:
    """Each message with the first of its bytes that came after it and before the time-out."""
    waiting: defaultdict[bytes, deque[int]] = defaultdict(deque)
    for came in sorted(back, key=lambda passed: passed.at_ns):
        waiting[came.data].append(came.at_ns)
    samples, lost = [], 0
    for passed in sorted(sent, key=lambda passed: passed.at_ns):
        queue = waiting[passed.data]
        while queue and queue[0] < passed.at_ns:
            queue.popleft()
        if queue and queue[0] - passed.at_ns <= TIME_OUT_NS:
            samples.append(Sample(figure, passed.at_ns, queue.popleft() - passed.at_ns))
        else:
            lost += 1
    return Trips(tuple(samples), lost)


def answers(last_keys_ns: Sequence[int], back: Iterable[Passed], channel: int) -> Trips:
    """Chords, by their last key's instant (ascending), with the notes of `channel` after it."""
    notes = sorted(
        passed.at_ns for passed in back if passed.data[:1] == bytes((NOTE_ON | channel,))
    )
    samples: list[Sample] = []
    lost = 0
    for number, at_ns in enumerate(last_keys_ns):
        following = last_keys_ns[number + 1 : number + 2]
        until_ns = min([at_ns + TIME_OUT_NS, *following])
        own = notes[bisect_left(notes, at_ns) : bisect_left(notes, until_ns)]
        if not own:
            lost += 1
            continue
        last_ns = _last_together(own)
        samples.append(Sample(TRIP_FIRST, at_ns, own[0] - at_ns))
        samples.append(Sample(TRIP_LAST, at_ns, last_ns - at_ns))
    return Trips(tuple(samples), lost)


def _last_together(ascending: Sequence[int]) -> int:
    last_ns = ascending[0]
    for at_ns in ascending:
        if at_ns - last_ns > _TOGETHER_NS:
            break
        last_ns = at_ns
    return last_ns
