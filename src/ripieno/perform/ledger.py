"""Who holds which key down, and whose foot is on the pedal.

Every note-on that leaves the program goes through here, and so has exactly one note-off:
a key sounds while anyone owns it. Struck again while it sounds, it is released and struck, as
a key of a piano must come up before it can go down again. An accompaniment that wants a key the
melody is holding joins it unheard, so that it cannot cut the player's own note.
"""

from collections.abc import Hashable

from ripieno.perform.message import SUSTAIN, control, note_off, note_on

Owner = Hashable
PEDAL_DOWN = 64  # MIDI 1.0: controllers 64..69 are off to 63, on from 64


class Ledger:
    """The keys that sound, by channel and note, and their owners in the order they came."""

    def __init__(self) -> None:
        self._owners: dict[tuple[int, int], list[Owner]] = {}

    def strike(self, owner: Owner, channel: int, note: int, velocity: int) -> list[bytes]:
        """What to send so that `owner` strikes the key and holds it."""
        struck = note_on(channel, note, velocity)
        owners = self._owners.get((channel, note))
        if owners is None:
            self._owners[channel, note] = [owner]
            return [struck]
        if owner in owners:
            owners.remove(owner)
        owners.append(owner)
        return [note_off(channel, note), struck]

    def join(self, owner: Owner, channel: int, note: int) -> None:
        """Own a key that sounds already, without striking it."""
        owners = self._owners[channel, note]
        if owner not in owners:
            owners.append(owner)

    def release(self, owner: Owner, channel: int, note: int, velocity: int = 64) -> list[bytes]:
        """What to send when `owner` lets go: the note-off if nobody else holds the key."""
        owners = self._owners.get((channel, note))
        if owners is None or owner not in owners:
            return []
        owners.remove(owner)
        if owners:
            return []
        del self._owners[channel, note]
        return [note_off(channel, note, velocity)]

    def owned(self, owner: Owner, channel: int, note: int) -> bool:
        """Whether `owner` holds the key."""
        return owner in self._owners.get((channel, note), ())

    def release_all(self) -> list[bytes]:
        """A note-off for each key that sounds, lowest first."""
        keys = sorted(self._owners)
        self._owners.clear()
        return [note_off(channel, note) for channel, note in keys]

    @property
    def sounding(self) -> tuple[tuple[int, int], ...]:
        """The (channel, note) that sound, ascending."""
        return tuple(sorted(self._owners))


class PedalPost:
    """The sustain pedal of one channel, shared by the player's foot and the program's.

    It is down while either wants it down. The player's own values, half-pedal too, pass as
    they are while the program's foot is up.
    """

    def __init__(self, channel: int) -> None:
        self._channel = channel
        self._player = 0
        self._sent = 0
        self.ours = False

    def _send(self, value: int) -> list[bytes]:
        if value == self._sent:
            return []
        self._sent = value
        return [control(self._channel, SUSTAIN, value)]

    def player(self, value: int) -> list[bytes]:
        """The player's pedal came to `value`, 0..127."""
        self._player = value
        return [] if self.ours and value < PEDAL_DOWN else self._send(value)

    def program(self, *, down: bool) -> list[bytes]:
        """The program's foot goes down or up."""
        self.ours = down
        if down:
            return [] if self._sent >= PEDAL_DOWN else self._send(127)
        return self._send(self._player)

    def lift(self) -> list[bytes]:
        """Both feet off."""
        self.ours, self._player = False, 0
        return self._send(0)
