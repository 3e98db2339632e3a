"""What one instant sends, in the order in which it leaves.

Releases first, then the new notes: the lowest, the highest, the inner ones upward, for on a
31,250-baud wire a note takes 0.96 ms (MIDI 1.0: 320 microseconds a byte) and the outer voices
are what is heard. Controllers come last: a legato pedal rises after the new notes.
"""

from operator import itemgetter

from ripieno.perform.events import Send
from ripieno.perform.ledger import Ledger, Owner

# Owners: of every key of the melody zone, and of notes that are shown to a learner.
MELODY, SHOWN = "melody", "shown"


class Outbox:
    """Collects one instant's releases and strikes on one channel; `flush` orders and books them."""

    def __init__(self, ledger: Ledger, channel: int) -> None:
        self._ledger = ledger
        self._channel = channel
        self._releases: list[tuple[Owner, int]] = []
        self._strikes: list[tuple[int, Owner, int]] = []
        self._controls: list[bytes] = []
        self._replaces = False

    @property
    def strikes(self) -> bool:
        """Whether a note is struck in this instant."""
        return bool(self._strikes)

    @property
    def replaces(self) -> bool:
        """Whether a note that did not belong is put right in this instant."""
        return self._replaces

    def release(self, owner: Owner, note: int, *, replaced: bool = False) -> None:
        self._replaces |= replaced
        for struck in self._strikes:
            if struck[0] == note and struck[1] is owner:  # in this very instant: it never sounds
                self._strikes.remove(struck)
                return
        self._releases.append((owner, note))

    def strike(self, owner: Owner, note: int, velocity: int) -> None:
        self._strikes.append((note, owner, velocity))

    def control(self, messages: list[bytes]) -> None:
        self._controls += messages

    def flush(self, at_ns: int) -> list[Send]:
        """The messages, booked in the ledger; the outbox is empty again."""
        self._replaces = False
        if not (self._releases or self._strikes or self._controls):
            return []
        ledger, channel = self._ledger, self._channel
        data: list[bytes] = []
        for owner, note in self._releases:
            data += ledger.release(owner, channel, note)
        struck: set[int] = set()  # both hands may strike one key: it sounds once, for both
        for note, owner, velocity in outer_first(self._strikes):
            if note in struck or ledger.owned(MELODY, channel, note):
                ledger.join(owner, channel, note)
            else:
                data += ledger.strike(owner, channel, note, velocity)
            struck.add(note)
        data += self._controls
        self._releases, self._strikes, self._controls = [], [], []
        return [Send(at_ns, message) for message in data]


def outer_first(strikes: list[tuple[int, Owner, int]]) -> list[tuple[int, Owner, int]]:
    """Lowest, highest, then the inner notes upward."""
    if len(strikes) < 2:
        return strikes
    upward = sorted(strikes, key=itemgetter(0))
    return upward[:1] + upward[:0:-1][:1] + upward[1:-1]
