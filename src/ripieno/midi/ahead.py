"""An output opened before anything is to be sent to it, so that the first message leaves at once.

To open a JACK client takes 20 to 70 ms. Who waits to end what another process leaves sounding has
not got these.
"""

from typing import Any

from ripieno.errors import MachineError
from ripieno.midi import ports
from ripieno.midi.ports import Pick
from ripieno.midi.systems import System
from ripieno.midi.threads import ForeignThreads


class OutputAhead:
    """For one thread. Who takes over has `midi`, RtMidi's object, and `opened`, its port."""

    def __init__(self) -> None:
        self.midi: Any = None
        self.opened: tuple[str, str] | None = None  # the port's name, and what RtMidi calls it
        self._threads = ForeignThreads()

    def follow(self, system: System, name: str) -> None:
        """Have the output of this name open if there is one, and no other; none for ''."""
        self.close()
        if not name or not system.is_shared:
            return
        try:
            self.midi = ports.new_client(system, ports.OUT)
            self._open(system, name)
        except MachineError:  # nothing is lost: it is opened when it is needed
            self.close()
        self._threads.renew()

    @property
    def server_is_gone(self) -> bool:
        """Whether the server behind it has died: then it may not even be closed."""
        return self.midi is not None and self._threads.lost

    def close(self) -> None:
        """May be called again."""
        midi, self.midi, self.opened = self.midi, None, None
        if midi is not None:
            midi.delete()

    def _open(self, system: System, name: str) -> None:
        raw = ports.listed(self.midi)
        names = ports.names_of(system, raw)
        if name in names:
            index = names.index(name)
            ports.open_port(system, self.midi, Pick(index, name, "opened ahead"), ports.OUT)
            self.opened = (name, raw[index])
