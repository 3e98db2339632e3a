"""The real-time driver: ports and a performer, with the monotonic clock.

The port's callback only stamps and queues (on JACK it runs on the audio thread, and work there
stalls every program on it). One thread owns the performer and the output; it waits for input
or for the next due time in one call. Between input and send there is no file, socket, log
call, import or sleep, and no work that grows with the length of a session. What happens is
counted, not logged; a journal gets it through a queue.

Events are stamped by whoever puts them in, and two threads may put them in the other way
round than they stamped them. The loop takes them in the order in which they come out of the
queue and never lets their time go back, so that a journal of them replays identically.
"""

import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Protocol

from ripieno.engine.realtime import claim_thread, sweep
from ripieno.errors import MachineError
from ripieno.midi.codec import Decoder
from ripieno.midi.sensing import Sensing
from ripieno.perform.events import ClockTick, Input, Send, Silence, Stop
from ripieno.perform.message import silence
from ripieno.perform.offline import Happening, advanced, hand_in, stamped
from ripieno.perform.performer import Performer
from ripieno.perform.presses import Bind, Pressed, Presses
from ripieno.perform.settings import Follow, Settings
from ripieno.perform.snapshot import Snapshot, snapshot
from ripieno.perform.understudy import Understudy
from ripieno.units import NS_PER_S

# A second busy thread of this process keeps the interpreter no longer than this from the
# loop; the default, 5 ms, is half of what a player can hear.
SWITCH_INTERVAL_S = 0.0001
# The end of a wait is spent awake, for a processor that sleeps is late and slow: on the machine
# of `engine.realtime`'s figures, wake-ups 125 ms apart came 93 us late in the median and 183 at
# the 99th percentile without this, 14 and 26 with it. So is the time in which a chord's next key
# is likely to come.
_AWAKE_NS = 500_000
_GATHERING_NS = 10_000_000  # after a key
_REHEARSAL_NS = 200_000  # what there must be left for one
_KEYS_APART_NS = 1_000_000  # keys that come sooner after each other leave no time for one
_REST_NS = 20_000_000
# Messages waiting, beyond which further ones are dropped: more than a player makes in an hour,
# and what a wire of 31,250 baud brings in a minute (MIDI 1.0: 320 us a byte).
_MOST_WAITING = 60_000
_LATE_NS = 10_000_000


class Output(Protocol):
    """Where messages go: a port, or a synthesizer."""

    def send(self, data: bytes) -> None: ...


@dataclass(slots=True)
class Counts:
    """What went by in the loop.

    `failed` sends: the output refused them. `flooded`: messages that came faster than they could
    be taken, and were not; all notes are ended afterwards, for a release may be among them.
    `late`: sends more than 10 ms after they were due, which a player hears (Wessel & Wright
    2002); `latest_ns` is the most that one was.
    """

    received: int = 0
    sent: int = 0
    failed: int = 0
    flooded: int = 0
    late: int = 0
    latest_ns: int = 0


@dataclass(frozen=True, slots=True)
class Timed:
    """Something that happened, and the monotonic nanosecond by which it had."""

    done_ns: int
    happening: Happening


@dataclass(frozen=True, slots=True)
class _Look:
    answer: SimpleQueue[Snapshot]


@dataclass(frozen=True, slots=True)
class _Unplugged:
    at_ns: int
    stops: bool


_Item = tuple[bytes, int] | Input | Bind | _Look | _Unplugged | None  # None: the end
_LOOK_S = 5.0  # only a fault takes longer


class Engine:
    """Plays until closed. `receive` and `submit` may be called from any thread."""

    def __init__(
        self,
        performer: Performer,
        output: Output,
        *,
        record: Callable[[Timed], None] | None = None,
        notice: Callable[[Pressed], None] | None = None,
    ) -> None:
        """`record` gets all that happens, on the loop's thread: it must only queue it.

        So must `notice`, which gets the presses that are not for the performer.
        """
        self.scheduling = ""  # from `start` on a sentence: what the system granted the loop
        self._performer = performer
        self.counts = Counts()
        self._output = output
        self._record = record
        self._notice = notice
        self._presses = Presses()
        self._decoder = Decoder()
        self._sensing = Sensing()
        self._queue: SimpleQueue[_Item] = SimpleQueue()
        self._latest_ns = 0  # the latest stamp of an event
        self._flooded = 0  # as many messages as are recovered from
        self._ended = False
        self._understudy = self._new_understudy()
        self._turns = Event()
        self._thread = Thread(target=self._run, name="ripieno-engine", daemon=True)

    def start(self) -> None:
        """Returns when the loop turns."""
        sys.setswitchinterval(SWITCH_INTERVAL_S)
        self._thread.start()
        self._turns.wait()

    def receive(self, data: bytes, at_ns: int) -> None:
        """Bytes from the input port, with the instant they arrived."""
        if self._queue.qsize() < _MOST_WAITING:
            self._queue.put((data, at_ns))
        else:
            self.counts.flooded += 1

    def submit(self, event: Input | Bind) -> None:
        """An event that comes from the program and not from the keyboard."""
        self._queue.put(event)

    def unplugged(self, at_ns: int, *, stops: bool = True) -> None:
        """The keyboard is gone: its keys come up, and the music stops if it is to."""
        self._queue.put(_Unplugged(at_ns, stops))

    def look(self) -> Snapshot:
        """The performer as it is now. Waits for the loop's next turn.

        Raises MachineError if the loop does not turn any more.
        """
        answer: SimpleQueue[Snapshot] = SimpleQueue()
        self._queue.put(_Look(answer))
        try:
            return answer.get(timeout=_LOOK_S if self.is_running else 0)
        except Empty:
            raise MachineError("the engine does not answer: end the program") from None

    @property
    def is_running(self) -> bool:
        """Whether the loop turns: from `start` to `close`, unless a fault has ended it."""
        return self._thread.is_alive()

    def close(self) -> None:
        """Silence everything and end the thread. May be called again."""
        if self.is_running:
            self.submit(Silence(time.monotonic_ns()))
            self._queue.put(None)
            self._thread.join()

    def _run(self) -> None:
        """Whatever ends the loop, a fault of ours too, nothing is left sounding."""
        self.scheduling = claim_thread()
        self._turns.set()
        try:
            self._turn()
        finally:
            self._let_go()

    def _let_go(self) -> None:
        """After the end's own silence this finds nothing to do.

        After a fault the ledger may know less than was sent, so every channel is silenced.
        """
        data = self._performer.ledger.release_all()
        for channel in range(16):
            data += self._performer.pedal(channel).lift()
        if not self._ended:
            for channel in range(16):
                data += silence(channel)
        for message in data:
            self._send(message)

    def _turn(self) -> None:
        while not self._ended:
            items = self._wait()
            self._performer.skip_to(time.monotonic_ns())
            for item in items:
                self._take(item)
            if self.counts.flooded != self._flooded:
                self._recover()
            if self._queue.empty() and self._sensing.is_gone(time.monotonic_ns()):
                self._lose_keys(time.monotonic_ns(), stops=True)
            self._tell(advanced(self._performer, time.monotonic_ns()))

    def _wait(self) -> list[_Item]:
        """All that has arrived, after waiting for the first of it or for the next due time."""
        items = self._first()
        try:
            while items:
                items.append(self._queue.get_nowait())
        except Empty:
            pass
        return items

    def _first(self) -> list[_Item]:
        """What arrives first, nothing if something is due before."""
        due_ns, silent_ns = self._performer.next_due_ns(), self._sensing.due_ns
        if due_ns is None:
            sweep(NS_PER_S)
        if silent_ns is not None and (due_ns is None or silent_ns < due_ns):
            return self._asleep_until(silent_ns)
        if due_ns is None:
            return [self._queue.get()]
        asleep_ns = min(due_ns, self._latest_ns + _GATHERING_NS)
        if self._performer.gathering and time.monotonic_ns() < asleep_ns:
            return self._awake_until(asleep_ns, self._understudy.chord, _KEYS_APART_NS)
        self._use_rest(due_ns)
        if due_ns - time.monotonic_ns() > _AWAKE_NS:
            items = self._asleep_until(due_ns - _AWAKE_NS)
            if items:
                return items
        return self._awake_until(due_ns, self._understudy.step, 0)

    def _asleep_until(self, until_ns: int) -> list[_Item]:
        try:
            return [self._queue.get(timeout=max(0, until_ns - time.monotonic_ns()) / NS_PER_S)]
        except Empty:
            return []

    def _awake_until(self, due_ns: int, rehearse: Callable[[], None], after_ns: int) -> list[_Item]:
        """Wait for a short time without sleeping, and have the understudy play in it."""
        rehearse_ns = time.monotonic_ns() + after_ns
        while self._queue.empty():
            now_ns = time.monotonic_ns()
            if now_ns >= due_ns:
                return []
            if now_ns >= rehearse_ns and due_ns - now_ns > _REHEARSAL_NS:
                rehearse()
                rehearse_ns = due_ns
            time.sleep(0)  # lets the port's callback in
        return [self._queue.get_nowait()]

    def _use_rest(self, due_ns: int) -> None:
        """What is not for the time when notes are due."""
        left_ns = due_ns - time.monotonic_ns()
        sweep(left_ns)
        style = self._performer.accompaniment.style
        if style is not self._understudy.style and left_ns > _REST_NS:
            self._understudy = self._new_understudy()

    def _new_understudy(self) -> Understudy:
        playing = self._performer.accompaniment
        return Understudy(Settings(meter=playing.meter), playing.style)

    def _recover(self) -> None:
        """After a flood nobody knows which keys are down."""
        self._flooded = self.counts.flooded
        self._lose_keys(time.monotonic_ns(), stops=True)

    def _lose_keys(self, at_ns: int, *, stops: bool) -> None:
        self._sensing.forget()
        self._presses.forget()
        self._hand_in_all(e for e in self._decoder.unplugged(at_ns) if not self._is_command(e))
        if stops:
            self._hand_in(Stop(at_ns))

    def _take(self, item: _Item) -> None:
        match item:
            case None:
                self._ended = True
            case _Look(answer):
                answer.put(snapshot(self._performer, time.monotonic_ns()))
            case (bytes() as data, int() as at_ns):
                self._sensing.heard(data, at_ns)
                events = self._decoder.feed(data, at_ns)
                self.counts.received += len(events)
                for event in events:
                    if isinstance(event, ClockTick) and not self._follows_clock:
                        continue  # it says nothing to anybody, and there are 48 a second
                    if not self._is_command(event):
                        self._hand_in(event)
            case _Unplugged(at_ns, stops):
                self._lose_keys(at_ns, stops=stops)
            case Bind():
                self._hand_in_all(self._presses.bind(item, time.monotonic_ns()))
            case event:
                self._hand_in(event)

    @property
    def _follows_clock(self) -> bool:
        return self._performer.accompaniment.time.follow is Follow.CLOCK

    def _is_command(self, event: Input) -> bool:
        """Whether an event is bound to a command; whoever wants to know is told."""
        taken = self._presses.take(event)
        if taken is None:
            return False
        if taken.learnt:
            self._hand_in_all(self._presses.learn(taken.press, taken.at_ns))
        if self._notice is not None:
            self._notice(taken)
        return True

    def _hand_in_all(self, events: Iterable[Input]) -> None:
        for event in events:
            self._hand_in(event)

    def _hand_in(self, event: Input) -> None:
        self._latest_ns = max(self._latest_ns, event.at_ns)
        self._tell(hand_in(self._performer, stamped(event, self._latest_ns)))

    def _tell(self, happenings: Iterable[Happening]) -> None:
        """Send first, then record: a journal may be late, a note may not."""
        for happening in happenings:
            if isinstance(happening, Send):
                self._send(happening.data)
            done_ns = time.monotonic_ns()
            if isinstance(happening, Send):
                self._count_late(done_ns - happening.due_ns)
            if self._record is not None:
                self._record(Timed(done_ns, happening))

    def _count_late(self, late_ns: int) -> None:
        counts = self.counts
        counts.late += late_ns > _LATE_NS
        counts.latest_ns = max(counts.latest_ns, late_ns)

    def _send(self, data: bytes) -> None:
        try:
            self._output.send(data)
            self.counts.sent += 1
        except Exception:  # whatever the port raises, the next note-off must still be tried
            self.counts.failed += 1
