"""From what happened in an engine to figures.

Fed with the engine's own record, in its order, by whichever driver has one. What a note-on
answers is told by the instant it is due at:

- the instant of a chord's reading: it answers the chord, which struck at its last key;
- the instant of a melody key, with that key's note and channel: it is that key passed through;
- the instant of anything else that came in (a new style, a tempo): no figure;
- any other: it is a step of a running figure.
"""

from collections import deque
from collections.abc import Iterable

from ripieno.engine.loop import Timed
from ripieno.latency.figures import (
    INPUT_SPREAD,
    PASS_THROUGH,
    SCHEDULING,
    SPREAD_FIRST,
    SPREAD_LAST,
    STRIKE_FIRST,
    STRIKE_LAST,
    Sample,
)
from ripieno.perform.events import KeyDown, Send
from ripieno.perform.message import NOTE_ON
from ripieno.perform.performer import Heard
from ripieno.units import NS_PER_MS

# Keys further apart than this are not one strike's (the longest gap measured in recorded
# chords is 142 ms), and are not looked at for the spread of a chord.
_STRIKE_NS = 500 * NS_PER_MS
_REMEMBERED = 256  # instants and keys; what answers an input follows it at once


class Listener:
    """Takes an engine's record and gives samples.

    `split` is the lowest melody key, None without melody. Chords whose last key has the velocity
    `spread_velocity` have figures of their own; None: all chords have the same.
    """

    def __init__(self, *, split: int | None, spread_velocity: int | None) -> None:
        self.samples: list[Sample] = []
        self.note_ons = 0
        self.unanswered = 0  # chords
        self._split = split
        self._spread_velocity = spread_velocity
        self._inputs: deque[int] = deque(maxlen=_REMEMBERED)  # instants
        self._keys: deque[KeyDown] = deque(maxlen=_REMEMBERED)  # of chords, since the last strike
        self._melody: deque[KeyDown] = deque(maxlen=_REMEMBERED)
        self._strike: Heard | None = None
        self._answered_ns: int | None = None  # when the latest note that answers it was taken
        self._spread: Sample | None = None

    def hear(self, news: Iterable[Timed]) -> None:
        for timed in news:
            match timed.happening:
                case KeyDown() as key:
                    self._inputs.append(key.at_ns)
                    (self._melody if self._is_melody(key) else self._keys).append(key)
                case Heard() as heard:
                    self._read(heard)
                case Send() as send:
                    if send.data[0] & 0xF0 == NOTE_ON:
                        self._struck(send, timed.done_ns)
                case other:
                    self._inputs.append(other.at_ns)

    def close(self) -> None:
        """No more comes: what was still open is finished."""
        self._finish()
        self._take_spread()

    def _is_melody(self, key: KeyDown) -> bool:
        return self._split is not None and key.note >= self._split

    def _read(self, heard: Heard) -> None:
        if not heard.amends:
            self._finish()
            self._take_spread()
            self._strike = heard
        else:
            self._inputs.append(heard.at_ns)
        self._spread = self._spread_of(heard)

    def _spread_of(self, heard: Heard) -> Sample | None:
        """From the chord's first key to its last; None for a single key."""
        own = [key.at_ns for key in self._own_keys(heard)]
        if len(own) < 2:
            return self._spread if heard.amends else None
        return Sample(INPUT_SPREAD, own[0], own[-1] - own[0])

    def _own_keys(self, heard: Heard) -> list[KeyDown]:
        """The keys of a strike in their order, held ones and those of the next not among them."""
        since_ns, until_ns = heard.strike_ns - _STRIKE_NS, heard.strike_ns
        return [
            key
            for key in self._keys
            if key.note in heard.reading.keys and since_ns <= key.at_ns <= until_ns
        ]

    def _figures(self, heard: Heard) -> tuple[str, str]:
        own = self._own_keys(heard)
        if own and own[-1].velocity == self._spread_velocity:
            return SPREAD_FIRST, SPREAD_LAST
        return STRIKE_FIRST, STRIKE_LAST

    def _take_spread(self) -> None:
        """The strike before is over: its spread is known, and its keys are no other's."""
        if self._spread is not None:
            self.samples.append(self._spread)
            until_ns = self._spread.at_ns + self._spread.value_ns
            while self._keys and self._keys[0].at_ns <= until_ns:
                self._keys.popleft()
        self._spread = None

    def _struck(self, send: Send, done_ns: int) -> None:
        self.note_ons += 1
        strike = self._strike
        if strike is not None and send.due_ns == strike.at_ns:
            if self._answered_ns is None:
                self._add(self._figures(strike)[0], strike.strike_ns, done_ns)
            self._answered_ns = done_ns
        elif (key := self._melody_key(send)) is not None:
            self._melody.remove(key)
            self._add(PASS_THROUGH, key.at_ns, done_ns)
        elif send.due_ns not in self._inputs:
            self._add(SCHEDULING, send.due_ns, done_ns)

    def _melody_key(self, send: Send) -> KeyDown | None:
        channel, note = send.data[0] & 0x0F, send.data[1]
        found = (
            key
            for key in self._melody
            if (key.at_ns, key.channel, key.note) == (send.due_ns, channel, note)
        )
        return next(found, None)

    def _finish(self) -> None:
        """The strike before can have no further note: its last is known."""
        if self._strike is not None and self._answered_ns is not None:
            self._add(self._figures(self._strike)[1], self._strike.strike_ns, self._answered_ns)
        elif self._strike is not None:
            self.unanswered += 1
        self._strike, self._answered_ns = None, None

    def _add(self, figure: str, from_ns: int, until_ns: int) -> None:
        self.samples.append(Sample(figure, from_ns, until_ns - from_ns))
