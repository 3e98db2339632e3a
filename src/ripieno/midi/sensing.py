"""Active sensing: whether whoever sends on a wire is still there.

MIDI 1.0, active sensing (FE): who sends it at all sends something at least every 300 ms, and who
has received it once takes 300 ms without any byte for the end of the connection, and turns all
notes off. Until it comes, silence says nothing. So a keyboard is missed whose cable is pulled
behind an interface that stays.

A program that was itself held up has been told nothing meanwhile, though much may have come: it
waits once more.
"""

from ripieno.perform.message import ACTIVE_SENSING
from ripieno.units import NS_PER_MS

# Three times what the standard says: to stop the music for one byte that the way has lost would be
# worse than a note that sounds on for most of a second.
_SILENCE_NS = 1_000 * NS_PER_MS
_HELD_UP_NS = 10 * NS_PER_MS


class Sensing:
    """One wire's. Instants are monotonic nanoseconds."""

    def __init__(self) -> None:
        self._is_on = False
        self._last_ns = 0

    def heard(self, data: bytes, at_ns: int) -> None:
        """One or more bytes have come."""
        self._last_ns = max(self._last_ns, at_ns)
        self._is_on = self._is_on or ACTIVE_SENSING in data

    def forget(self) -> None:
        """Silence says nothing until the next active sensing."""
        self._is_on = False

    @property
    def due_ns(self) -> int | None:
        """When to ask whether the sender is gone; None: not before something comes."""
        return self._last_ns + _SILENCE_NS if self._is_on else None

    def is_gone(self, now_ns: int) -> bool:
        """Whether the sender is, of which all that has come by now has been `heard`."""
        due_ns = self.due_ns
        if due_ns is None or now_ns < due_ns:
            return False
        if now_ns - due_ns > _HELD_UP_NS:
            self._last_ns = now_ns
            return False
        return True
