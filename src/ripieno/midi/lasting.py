"""Ports that last: opened when they are there, let go when they are gone, opened again.

No MIDI system tells a program that a cable was pulled: the port stays open, sends succeed, and
when the instrument is back nothing arrives until the port is opened again. So `look`, called a
few times a second, compares the list of ports with the one that is open.

A port is known by its name, not by its number, which changes with plugging. Without a choice
the likeliest is taken, and a virtual one of our own only until there is one. It stays in use while
it is there. When it is gone it is waited for: of the others only one that was not there before is
taken instead, an instrument that somebody has plugged in meanwhile. So does a port that was chosen
stay in use, though another comes that the choice could mean as well.
"""

import time
from abc import ABC, abstractmethod
from contextlib import suppress
from dataclasses import dataclass
from threading import Lock
from typing import Any, Generic, TypeVar

from ripieno.errors import MachineError
from ripieno.midi import ports
from ripieno.midi.ahead import ClientAhead
from ripieno.midi.memory import Receive
from ripieno.midi.names import NOTHING_REMEMBERED, Remembered
from ripieno.midi.ports import InPort, OutPort, Pick, Side
from ripieno.midi.sounding import Sounding
from ripieno.midi.systems import System
from ripieno.units import NS_PER_S

# JACK may lose all messages of the moment in which a client leaves, such as our other side's or the
# waiting engine's at an end: what ends notes is said again after these.
_SAID_AGAIN_S = (0.02, 0.03)
# A port that could not be opened is not tried again for so long: another program may have it.
_REFUSED_NS = NS_PER_S


@dataclass(frozen=True, slots=True)
class PortState:
    """`name` is empty while no port is open; `why` is a sentence for people in both cases."""

    name: str
    why: str


PortT = TypeVar("PortT", InPort, OutPort)


class _Lasting(ABC, Generic[PortT]):
    """A side. One that `hurries` knows that the port it looks for first has long been there.

    Everything but `OutPort.send` is for one thread, that which first called `look`."""

    def __init__(
        self,
        side: Side,
        choice: str | None,
        ahead: ClientAhead | None,
        remembered: Remembered,
        *,
        hurries: bool,
    ) -> None:
        """`ahead` is taken over. `remembered` counts without a choice."""
        self.remembered = NOTHING_REMEMBERED if choice is not None else remembered
        self.state = PortState("", f"no {side.kind} has been looked for yet")
        self._side = side
        self._choice = choice
        self._hurries = hurries
        ahead = ahead or ClientAhead(side)
        self._midi: Any = ahead.midi  # lists ports while none is open
        self._threads = ahead.threads  # the client's that was made last
        self._port: PortT | None = None
        self._opened: tuple[str, str] | None = None  # its name, and what RtMidi calls it
        self._ahead = ahead.opened  # the same of one that `_midi` has open already
        self._refused_ns: int | None = None
        self._seen = ahead.seen  # the ports, as they were listed last
        self._since_ns = dict.fromkeys(ahead.seen, ahead.seen_ns)  # when each was first seen
        self._others_moved = False  # whether they were others at the look before

    def look(self, system: System) -> bool:
        """Whether a port has been opened or lost since the last call."""
        before = self._opened
        try:
            self._follow(system)
        except MachineError as reason:
            self._let_go()
            self.state = PortState("", str(reason))
        return self._opened != before

    def renew(self, system: System) -> None:
        """The same with another client, for the server never wakes this one."""
        self._let_go()
        self._drop_client()
        self.look(system)

    def close(self) -> None:
        """No port any more, unless `look` is called again."""
        self._let_go()
        self._drop_client()

    @property
    def threads(self) -> frozenset[int]:
        """The client's; none where there is no client."""
        return self._threads if self._midi is not None or self._opened else frozenset()

    def _follow(self, system: System) -> None:
        hurries, self._hurries = self._hurries, False
        if system.api is None:
            pick, raw = ports.pick_port(system, self._side, (), self._choice), ""
        else:
            pick, raw = self._wanted(system)
        if self._opened != (pick.name, raw):
            self._let_go()
            if raw and not hurries:
                # A JACK client has ports some moments before it is active, and to connect one then
                # fails without a word.
                ports.pause(system, self._since_ns[raw])
            self._open(system, pick, raw)

    def _wanted(self, system: System) -> tuple[Pick, str]:
        listed = self._listed(system)
        self._others_moved = listed != self._seen
        self._seen, now_ns = listed, time.monotonic_ns()
        self._since_ns = {raw: self._since_ns.get(raw, now_ns) for raw in listed}
        names = ports.names_of(system, listed)
        in_use = self._opened and self._opened[0]
        if in_use and in_use in names:
            pick = Pick(names.index(in_use), in_use, self.state.why)
            if self._choice is None:
                self.remembered = self.remembered.with_use(in_use, names)
        else:
            pick = ports.pick_port(system, self._side, names, self._choice, self.remembered)
        return pick, "" if pick.index is None else listed[pick.index]

    def _listed(self, system: System) -> list[str]:
        if self._port is not None:
            return self._port.listed()
        if self._midi is None:
            self._make_client(system)
        return ports.listed(self._midi)

    def _make_client(self, system: System) -> None:
        self._midi, self._threads = ports.new_client_and_threads(system, self._side)

    def _open(self, system: System, pick: Pick, raw: str) -> None:
        now_ns = time.monotonic_ns()
        if self._refused_ns is not None and now_ns - self._refused_ns < _REFUSED_NS:
            return
        if system.api is not None:
            if self._midi is None:
                self._make_client(system)
            try:
                self._open_unless_ahead(system, pick, raw)
            except MachineError:
                self._refused_ns = now_ns
                raise
            midi, self._midi, self._refused_ns = self._midi, None, None
            self._publish(midi, pick)
        self._opened, self.state = (pick.name, raw), PortState(pick.name, pick.why)

    def _open_unless_ahead(self, system: System, pick: Pick, raw: str) -> None:
        ahead, self._ahead = self._ahead, None
        if ahead is not None and ahead != (pick.name, raw):
            self._midi.close_port()
        if ahead != (pick.name, raw):
            ports.open_port(system, self._midi, pick, self._side)

    @abstractmethod
    def _publish(self, midi: Any, pick: Pick) -> None:
        """The port of `midi` is open: make it this side's."""

    def _let_go(self) -> None:
        port, self._port, self._opened = self._port, None, None
        if port is not None:
            port.close()

    def _drop_client(self) -> None:
        midi, self._midi = self._midi, None
        if midi is not None:
            midi.delete()


class LastingInput(_Lasting[InPort]):
    """`receive(data, at_ns)` is called as by `InPort`; `errors` counts what it raised."""

    def __init__(
        self,
        choice: str | None,
        receive: Receive,
        ahead: ClientAhead | None = None,
        remembered: Remembered = NOTHING_REMEMBERED,
        *,
        hurries: bool = False,
    ) -> None:
        super().__init__(ports.IN, choice, ahead, remembered, hurries=hurries)
        self._receive = receive
        self._errors = 0

    @property
    def errors(self) -> int:
        return self._errors + (0 if self._port is None else self._port.errors)

    def _publish(self, midi: Any, pick: Pick) -> None:
        self._port = InPort(midi, pick, self._receive)

    def _let_go(self) -> None:
        self._errors = self.errors
        super()._let_go()


class LastingOutput(_Lasting[OutPort]):
    """What is sent while no port is open goes nowhere, and `unheard` counts it.

    `sounding` is what the instrument may be sounding: what a process before this one, or a
    cable that was pulled, left there is ended as soon as the port is opened.
    """

    def __init__(
        self,
        choice: str | None,
        sounding: Sounding,
        ahead: ClientAhead | None = None,
        remembered: Remembered = NOTHING_REMEMBERED,
        *,
        hurries: bool = False,
    ) -> None:
        super().__init__(ports.OUT, choice, ahead, remembered, hurries=hurries)
        self.unheard = 0
        self.ended = 0  # notes that had been left sounding
        self._sounding = sounding
        self._is_served = False
        self._endings: list[bytes] = []  # what was sent at the opening for what sounded
        self._again: list[bytes] = []  # and what is still to be sent once more
        self._sending = Lock()

    def send(self, data: bytes) -> None:
        """One whole message, from any one thread. ValueError, MachineError as from a port."""
        with self._sending:
            if self._port is None:
                self.unheard += 1
                return
            self._sounding.before(data)
            self._port.send(data)
            self._sounding.after(data)

    def close(self) -> None:
        """As of a side. What was sent to a port that is still there has arrived."""
        port, opened = self._port, self._opened
        is_there = port is not None and opened is not None and opened[1] in ("", *port.listed())
        if is_there and self._is_served:
            for pause_s in _SAID_AGAIN_S:
                time.sleep(pause_s)
                self._end_again(self._sounding.doubtful())
        super().close()
        if is_there:
            self._sounding.arrived()

    def look(self, system: System) -> bool:
        """As of a side; and what was ended at the opening is ended once more at the next look.

        A JACK server that is behind may take what was sent first before it has connected the port.
        And it may lose all messages of one moment when a client comes or goes, such as the other
        side's own: so what has been ended is ended once more then, too.
        """
        self._is_served = system.is_served
        changed = super().look(system)
        if changed:
            return True
        if self._others_moved and system.is_served:
            with self._sending:
                self._again = self._sounding.doubtful()
        elif self._again:
            again, self._again = self._again, []
            self._end_again(again)
        return False

    def repeat_endings(self) -> None:
        """Send once more what ended the notes that sounded at the opening. From any thread."""
        self._end_again(self._endings)

    def _end_again(self, endings: list[bytes]) -> None:
        with self._sending, suppress(ValueError, MachineError):
            still = self._sounding.doubtful()  # but for what has been struck since
            for data in endings:
                if self._port is not None and data in still:
                    self._port.send(data)

    def _publish(self, midi: Any, pick: Pick) -> None:
        port = OutPort(midi, pick)
        self.ended += self._sounding.notes
        self._endings = self._sounding.endings()
        for data in [*self._endings, *self._sounding.doubtful()]:
            port.send(data)
        self._sounding.ended()
        self._sounding.output = pick.name
        self._again = self._sounding.doubtful()
        with self._sending:
            self._port = port

    def _let_go(self) -> None:
        """Nobody sends to a port while it is being closed, and nobody waits for that."""
        with self._sending:
            port, self._port, self._opened = self._port, None, None
        if port is not None:
            with suppress(ValueError):
                port.close()
