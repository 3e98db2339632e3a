"""Which keys trigger chords and which play the melody."""

from enum import Enum


class Zone(Enum):
    TRIGGER = "trigger"
    MELODY = "melody"


class Zones:
    """Keys below the split point trigger; from it upwards they are melody.

    `split` is a note, 0..128 (0: all melody); None: the whole keyboard triggers. It may be
    moved at any time: a key that is down stays in the zone where it was pressed, and so does
    its release. Keys on different channels (0..15) are different keys.
    """

    def __init__(self, split: int | None = None) -> None:
        self.split = split
        self._pressed: dict[tuple[int, int], Zone] = {}

    def down(self, note: int, channel: int = 0) -> Zone:
        """The zone of a key pressed. Pressed again before its release, it stays in its zone."""
        below = self.split is None or note < self.split
        zone = Zone.TRIGGER if below else Zone.MELODY
        return self._pressed.setdefault((channel, note), zone)

    def up(self, note: int, channel: int = 0) -> Zone | None:
        """The zone that a release belongs to; None: the key was not down."""
        return self._pressed.pop((channel, note), None)

    def clear(self) -> None:
        """Forget which keys are down."""
        self._pressed.clear()
