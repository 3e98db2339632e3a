"""What host and engine say to each other over their pipe."""

from dataclasses import dataclass

from ripieno.engine.loop import Counts, Timed
from ripieno.engine.rig import Rig
from ripieno.perform.events import Send
from ripieno.perform.settings import Settings
from ripieno.perform.snapshot import Snapshot
from ripieno.style.model import Style


@dataclass(frozen=True, slots=True)
class Begin:
    settings: Settings
    style: Style
    rig: Rig


@dataclass(frozen=True, slots=True)
class Ready:
    """The engine plays, since `since_ns`.

    `said`: one sentence for each port and for what the system granted.
    """

    since_ns: int
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    why: str


@dataclass(frozen=True, slots=True)
class Ask:
    """For an `Answer` of the same number."""

    number: int


@dataclass(frozen=True, slots=True)
class Answer:
    """`shown` is None when the loop does not turn any more."""

    number: int
    shown: Snapshot | None
    counts: Counts
    lost_inputs: int
    dropped_news: int


# A Send as a bare tuple (done, due, data): ten times quicker to pickle than an object.
Packed = Timed | tuple[int, int, bytes]
News = list[Packed]


def packed(timed: Timed) -> Packed:
    if isinstance(timed.happening, Send):
        return timed.done_ns, timed.happening.due_ns, timed.happening.data
    return timed


def unpacked(item: Packed) -> Timed:
    if isinstance(item, Timed):
        return item
    done_ns, due_ns, data = item
    return Timed(done_ns, Send(due_ns, data))
