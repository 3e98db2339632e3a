"""Which keys trigger chords and which play the melody, and which notes they mean."""

from enum import Enum


class Zone(Enum):
    """`BOTH`: what sounds as melody has turned out to be a chord's key too."""

    TRIGGER = "trigger"
    MELODY = "melody"
    BOTH = "both"


class Zones:
    """Keys below the split point trigger; from it upwards they are melody.

    `split` is a note, 0..128 (0: all melody); None: the whole keyboard triggers. It may be
    moved at any time, and so may `transpose`, the semitones by which notes are higher than their
    keys: a key that is down keeps the zone and the note with which it was pressed, and so does
    its release. Keys on different channels (0..15) are different keys.
    """

    def __init__(self, split: int | None = None, transpose: int = 0) -> None:
        self.split = split
        self.transpose = transpose
        self._pressed: dict[tuple[int, int], tuple[Zone, int]] = {}

    def down(self, key: int, channel: int = 0) -> tuple[Zone, int]:
        """The zone and the note, 0..127, of a key pressed.

        Pressed again before its release, it keeps them. A note beyond the range sounds in the
        nearest octave that is in it.
        """
        below = self.split is None or key < self.split
        zone = Zone.TRIGGER if below else Zone.MELODY
        return self._pressed.setdefault((channel, key), (zone, _folded(key + self.transpose)))

    def is_down(self, key: int, channel: int = 0) -> bool:
        """Whether a key has been pressed and not released yet."""
        return (channel, key) in self._pressed

    def turn(self, key: int, channel: int, zone: Zone) -> None:
        """A key that is down belongs to another zone, with the note that it has."""
        self._pressed[channel, key] = zone, self._pressed[channel, key][1]

    def up(self, key: int, channel: int = 0) -> tuple[Zone, int] | None:
        """The zone and the note that a release belongs to; None: the key was not down."""
        return self._pressed.pop((channel, key), None)

    def plays(self, note: int, channel: int) -> bool:
        """Whether a key of a channel that is down sounds a note as melody."""
        return any(
            of == channel and meant == note and zone is not Zone.TRIGGER
            for (of, _), (zone, meant) in self._pressed.items()
        )

    def triggers(self, note: int) -> bool:
        """Whether a key that is down has a note in a chord."""
        return any(
            meant == note and zone is not Zone.MELODY for zone, meant in self._pressed.values()
        )

    @property
    def keys(self) -> tuple[int, ...]:
        """Those that are down, ascending; one that is down on two channels once."""
        return tuple(sorted({key for _, key in self._pressed}))

    def clear(self) -> None:
        """Forget which keys are down."""
        self._pressed.clear()


def _folded(note: int) -> int:
    if note > 127:
        return 127 - (127 - note) % 12
    return note if note >= 0 else note % 12
