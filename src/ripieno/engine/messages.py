"""What host and engine say to each other over their pipe."""

from dataclasses import dataclass
from pathlib import Path

from ripieno.engine.loop import Counts, Timed
from ripieno.engine.rig import Rig
from ripieno.midi.lasting import PortState
from ripieno.midi.names import NOTHING_REMEMBERED, Remembered
from ripieno.midi.systems import System
from ripieno.perform.chord_on import Harmony
from ripieno.perform.events import Send
from ripieno.perform.presses import NOTHING_BOUND, Bind
from ripieno.perform.settings import Settings
from ripieno.perform.snapshot import Snapshot
from ripieno.perform.transport import Transport
from ripieno.style.model import Style

# What is remembered of the input's side and the output's, where no port was chosen.
BothRemembered = tuple[Remembered, Remembered]
NEITHER = (NOTHING_REMEMBERED, NOTHING_REMEMBERED)

SERVER_IS_GONE = 75  # an engine's exit status: EX_TEMPFAIL of sysexits.h


@dataclass(frozen=True, slots=True)
class Standing:
    """What is being played: a chord and its time; None for each that there is none of.

    `expression` is the player's own, 0..127, whatever a chord that dies away has made of it.
    """

    harmony: Harmony | None = None
    transport: Transport | None = None
    expression: int = 127


@dataclass(frozen=True, slots=True)
class Begin:
    """`system` is the one to try first, which an engine before this one has found.

    `sounding` is the file of what the instrument sounds, None for none.

    `standing` is what an engine before this one was playing, `remembered` are the ports that it had
    in use, and `bound` gives commands.
    """

    settings: Settings
    style: Style
    rig: Rig
    system: System | None = None
    sounding: Path | None = None
    standing: Standing = Standing()
    bound: Bind = NOTHING_BOUND
    remembered: BothRemembered = NEITHER


@dataclass(frozen=True, slots=True)
class OpenAhead:
    """Before `Begin`, any number of times: have this output open, or none if it has no name."""

    system: System
    output: str


@dataclass(frozen=True, slots=True)
class Ports:
    """`lack` is a sentence if there is to be sound and cannot be."""

    system: System
    input: PortState
    output: PortState
    remembered: BothRemembered = NEITHER
    lack: str = ""


@dataclass(frozen=True, slots=True)
class Ready:
    """The engine plays, since `since_ns`.

    `scheduling`, `memory` and each of `said` are sentences on what the system granted and what it
    is. `ended` is the number of notes that had been left sounding.
    """

    since_ns: int
    ports: Ports
    scheduling: str
    said: tuple[str, ...]
    ended: int
    memory: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    why: str


@dataclass(frozen=True, slots=True)
class Ask:
    """For an `Answer` of the same number."""

    number: int


@dataclass(frozen=True, slots=True)
class Answer:
    """`shown` is None when the loop does not turn any more.

    `unheard` messages were sent while there was no output. `skipped` places of the grid went by in
    silence after the process had been held up. `renewed` clients were made anew, for the server
    never woke them.
    """

    number: int
    shown: Snapshot | None
    counts: Counts
    lost_inputs: int
    dropped_news: int
    unheard: int
    skipped: int = 0
    renewed: int = 0


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
