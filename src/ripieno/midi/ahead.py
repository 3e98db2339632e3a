"""Clients made, and an output opened, before it is known what to play.

To make a JACK client takes 20 to 70 ms, two of one process have to be made some time apart, and a
port is connected only when it has been there for a while (`ports.pause`). Who begins to play has
not got all that, still less who waits to end what another process leaves sounding.
"""

import time
from typing import Any

from ripieno.errors import MachineError
from ripieno.midi import ports
from ripieno.midi.ports import Pick, Side
from ripieno.midi.systems import System
from ripieno.midi.threads import ForeignThreads


class ClientAhead:
    """One side's. Who takes over has `midi`, RtMidi's object, and its `threads`; `seen`, the ports
    that were there at `seen_ns`, as RtMidi calls them; and `opened`, a port's name and what RtMidi
    calls it.
    """

    def __init__(self, side: Side) -> None:
        self.midi: Any = None
        self.threads: frozenset[int] = frozenset()
        self.seen: list[str] = []
        self.seen_ns = 0
        self.opened: tuple[str, str] | None = None
        self._side = side

    def make(self, system: System) -> None:
        """Have a client that has looked for ports. Raises MachineError."""
        self.midi, self.threads = ports.new_client_and_threads(system, self._side)
        self.seen, self.seen_ns = ports.listed(self.midi), time.monotonic_ns()

    def open(self, system: System, name: str) -> None:
        """Have the port of this name open, if there is one. Raises MachineError."""
        names = ports.names_of(system, self.seen)
        if name in names:
            pick = Pick(names.index(name), name, "opened ahead")
            ports.open_port(system, self.midi, pick, self._side)
            self.opened = (name, self.seen[names.index(name)])

    def close(self) -> None:
        """May be called again."""
        midi, self.midi, self.seen, self.opened = self.midi, None, [], None
        if midi is not None:
            midi.delete()


class PortsAhead:
    """Both sides, for one thread. What cannot be had ahead is had when it is needed."""

    def __init__(self) -> None:
        self.input, self.output = ClientAhead(ports.IN), ClientAhead(ports.OUT)
        self._system: System | None = None
        self._threads = ForeignThreads()

    def look(self, system: System) -> None:
        """Have a client on either side that has looked for ports, if there is a MIDI system."""
        self.close()
        if system.api is None:
            return
        try:
            self.output.make(system)
            ports.pause(system)
            self.input.make(system)
        except MachineError:
            self.close()
        self._made(system)

    def follow(self, system: System, name: str) -> None:
        """Have the output of this name open if there is one, and no other; none for ''."""
        self.close()
        if not name or not system.is_shared:
            return
        try:
            self.output.make(system)
            self.output.open(system, name)
        except MachineError:
            self.close()
        self._made(system)

    def leave_other(self, system: System) -> None:
        """Have nothing but what is of this system."""
        if system != self._system:
            self.close()

    @property
    def server_is_gone(self) -> bool:
        """Whether the server behind it has died: then it may not even be closed."""
        return self.output.midi is not None and self._threads.lost

    def close(self) -> None:
        """May be called again."""
        self._system = None
        self.input.close()
        self.output.close()

    def _made(self, system: System) -> None:
        self._system = system
        self._threads.renew()
