"""A synthesizer that is waited for, as a port is: its font, its library or a sound card may come.

To try takes a processor for as long as it takes to read the font, so it is tried ever more seldom.
"""

import time

from ripieno.errors import MachineError
from ripieno.midi.lasting import PortState
from ripieno.midi.soundfont import find_soundfont
from ripieno.midi.synth import Synth
from ripieno.units import NS_PER_S

_AGAIN_NS, _AGAIN_AT_MOST_NS = 4 * NS_PER_S, 64 * NS_PER_S


class LastingSound:
    """What is sent while there is none goes nowhere. `lack` is a sentence; empty once it sounds."""

    def __init__(self) -> None:
        self.lack = "no sound has been looked for yet"
        self.font = ""  # a sentence on it, once it sounds
        self.synth: Synth | None = None
        self._again_ns, self._again_at_ns = _AGAIN_NS, 0

    def look(self, now_ns: int | None = None) -> None:
        """Begin it, if it is time to try."""
        now_ns = time.monotonic_ns() if now_ns is None else now_ns
        if self.synth is not None or now_ns < self._again_at_ns:
            return
        try:
            font, why = find_soundfont()
            self.synth = Synth(font)
        except MachineError as reason:
            self.lack = f"no sound: {reason}; MIDI plays, and sound is tried again"
            self._again_at_ns = now_ns + self._again_ns
            self._again_ns = min(2 * self._again_ns, _AGAIN_AT_MOST_NS)
            return
        self.lack = ""
        self.font = f"sound font: {why}"

    @property
    def state(self) -> PortState | None:
        """As of a port; None while there is none."""
        return None if self.synth is None else PortState(self.synth.name, self.synth.why)

    def send(self, data: bytes) -> None:
        """One whole message, for one thread. ValueError if it is none."""
        if self.synth is not None:
            self.synth.send(data)

    def close(self) -> None:
        """May be called again."""
        synth, self.synth = self.synth, None
        if synth is not None:
            synth.close()
