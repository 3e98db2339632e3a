"""What a player has moved and not put back: pedals that hold notes, the two wheels.

MIDI 1.0: sustain (64), sostenuto (66) and hold 2 (69) are pedals that keep notes sounding; pitch
bend rests in its centre, the modulation wheel (1) at 0.
"""

from ripieno.perform.message import (
    CENTRED_BEND,
    CONTROL_CHANGE,
    HOLDING,
    MODULATION,
    PITCH_BEND,
    control,
)

_WITH_REST = (*HOLDING, MODULATION)


class Moved:
    """Where each of them was last, on every channel."""

    def __init__(self) -> None:
        self._rests: dict[tuple[int, int], bytes] = {}  # by status and number, of what is moved

    def passed(self, data: bytes) -> None:
        """A channel message of the player."""
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind == PITCH_BEND:
            place, rest = (data[0], 0), bytes((data[0], *CENTRED_BEND))
        elif kind == CONTROL_CHANGE and data[1] in _WITH_REST:
            place, rest = (data[0], data[1]), control(channel, data[1], 0)
        else:
            return
        self._rests.pop(place, None)
        if data != rest:
            self._rests[place] = rest

    def pedals_up(self) -> list[bytes]:
        """What lifts the pedals that are down."""
        return self._put_back([p for p in self._rests if p[1] in HOLDING])

    def at_rest(self) -> list[bytes]:
        """What puts all back."""
        return self._put_back(list(self._rests))

    def _put_back(self, places: list[tuple[int, int]]) -> list[bytes]:
        return [self._rests.pop(place) for place in sorted(places)]
