"""What an instrument was told: which notes sound, since when, and how each of them ended.

Strict on purpose: a note ends by its own note-off alone. All-notes-off and all-sound-off, which
many instruments obey and some do not, end nothing here.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Condition

Key = tuple[int, int]  # channel, note

_NOTE_OFF, _NOTE_ON, _CONTROL = 0x80, 0x90, 0xB0
_SUSTAIN = 64


@dataclass(frozen=True, slots=True)
class Ended:
    key: Key
    on_ns: int
    off_ns: int


@dataclass
class Account:
    """One thread feeds it, another waits and asks."""

    down: dict[Key, int] = field(default_factory=dict)  # to when each was struck, the first time
    pedal: int = 0
    strikes: list[int] = field(default_factory=list)  # the instants of all since `forget`
    ended: list[Ended] = field(default_factory=list)
    messages: int = 0
    restruck: int = 0  # while they sounded: an instrument may need two note-offs for those
    _changed: Condition = field(default_factory=Condition)

    def feed(self, at_ns: int, data: bytes) -> None:
        with self._changed:
            self.messages += 1
            kind, channel = data[0] & 0xF0, data[0] & 0x0F
            if kind == _NOTE_ON and data[2]:
                self.restruck += (channel, data[1]) in self.down
                self.down.setdefault((channel, data[1]), at_ns)
                self.strikes.append(at_ns)
            elif kind in (_NOTE_OFF, _NOTE_ON):
                on_ns = self.down.pop((channel, data[1]), None)
                if on_ns is not None:
                    self.ended.append(Ended((channel, data[1]), on_ns, at_ns))
            elif kind == _CONTROL and data[1] == _SUSTAIN:
                self.pedal = data[2]
            self._changed.notify_all()

    def forget(self) -> None:
        """What has ended is of no interest any more; what sounds is."""
        with self._changed:
            self.strikes.clear()
            self.ended.clear()

    def wait_until(self, so: Callable[["Account"], bool], patience_s: float) -> bool:
        """Whether it has come to be so, at the latest after `patience_s`."""
        with self._changed:
            return self._changed.wait_for(lambda: so(self), timeout=patience_s)

    def first_strike_after(self, at_ns: int) -> int | None:
        with self._changed:
            return next((ns for ns in self.strikes if ns > at_ns), None)

    def sounding_since_before(self, at_ns: int) -> list[Key]:
        """What was struck before an instant and sounds yet."""
        with self._changed:
            return [key for key, ns in self.down.items() if ns < at_ns]

    def last_end_of_older(self, at_ns: int) -> int | None:
        """When the last of the notes ended that sounded at an instant; None: none did."""
        with self._changed:
            offs = [e.off_ns for e in self.ended if e.on_ns <= at_ns < e.off_ns]
        return max(offs, default=None)
