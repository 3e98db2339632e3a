"""The part of a muted hand, which is the player's own: which keys play it, and which are a chord.

Keys within the muted hand's reach, right or wrong, sound as they are and are not read: who
practises a hand must not change the chord by it. The chord is changed outside of that reach. Or
inside it, by keys that no part has: three or more that go down together and are not all tones of
the hand, or two and more together with a key outside. These are read as well, and go on sounding.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from ripieno.units import NS_PER_MS

# Beyond the hand's outer notes, in semitones: our choice, so far a finger slips.
_SLIP = 2
# Of one-hand chords of three keys 95 % come within 66 ms (Vienna 4x22, measured).
_TOGETHER_NS = 80 * NS_PER_MS
_FEWEST, _FEWEST_WITH_OTHERS = 3, 2  # keys of a chord


@dataclass(frozen=True, slots=True)
class Struck:
    """A key that is down in the part, and the note that it sounds."""

    at_ns: int
    key: int
    channel: int
    note: int
    velocity: int


class OwnPart:
    """Remembers which keys of it have just gone down."""

    def __init__(self) -> None:
        self._struck: list[Struck] = []

    def down(self, struck: Struck) -> None:
        """A key of the part has gone down."""
        self._struck = [*self._together(struck.at_ns), struck]

    def up(self, key: int, channel: int) -> None:
        """A key has come up, of the part or not."""
        self._struck = [s for s in self._struck if (s.key, s.channel) != (key, channel)]

    def clear(self) -> None:
        """What has gone down belongs to nothing any more."""
        self._struck = []

    def take_chord(self, at_ns: int, tones: Sequence[int], *, others: bool) -> list[Struck]:
        """The keys that have turned out to be a chord's, each once; mostly there are none.

        `tones` are the muted hand's; `others`: keys outside of its reach are arriving too.
        """
        together = self._together(at_ns)
        foreign = {s.note % 12 for s in together} - {tone % 12 for tone in tones}
        enough = others and len(together) >= _FEWEST_WITH_OTHERS
        if not (enough or (foreign and len(together) >= _FEWEST)):
            return []
        self._struck = []
        return together

    def _together(self, at_ns: int) -> list[Struck]:
        return [s for s in self._struck if at_ns - s.at_ns <= _TOGETHER_NS]


def is_within_reach(note: int, tones: Sequence[int]) -> bool:
    """Whether a note is where a hand plays that has these tones, ascending; False for none."""
    return bool(tones) and tones[0] - _SLIP <= note <= tones[-1] + _SLIP
