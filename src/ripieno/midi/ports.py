"""MIDI ports: finding, choosing, opening, closing.

Over python-rtmidi, whose ways shape this file:

- An exception in its input callback vanishes without a trace, so the callback counts them.
- Dropping an object frees nothing (twenty leak 60 file descriptors and 40 threads on JACK);
  `delete` does, and the object must not be touched afterwards.
- Closing is safe in one order: cancel the callback, close the port, delete.
- It sends any bytes, legal or not, and sends them later: leaving at once loses them.
- It opens a port by its number in a list that it makes anew: if a port before it in the list has
  just gone, the number is another port's, perhaps our own other side's. So a port counts as open
  only if the list has it at its number before and after.
"""

import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Self

import rtmidi

from ripieno.errors import MachineError
from ripieno.midi.memory import MemoryIn, MemoryOut, Receive
from ripieno.midi.names import (
    NOTHING_REMEMBERED,
    Remembered,
    find,
    is_loopback,
    told_apart,
    without_alsa_address,
    without_index,
)
from ripieno.midi.systems import CLIENT, System
from ripieno.midi.threads import foreign
from ripieno.perform.message import is_legal
from ripieno.units import NS_PER_S

VIRTUAL = "virtual"  # as a choice: a port of this program's own, for others to connect to

# Sixteen note-offs sent right before leaving: none arrived at once, all after 5 ms.
_DRAIN_NS = 50_000_000

_LISTINGS = 10  # tries; each takes 0.1 ms on JACK
_OPENINGS = 5  # tries, where ports come and go meanwhile

# A JACK server (1.9.21) may never wake the second of two clients that are activated at once,
# mostly while other programs ask it for its ports: of 25 such starts one heard no key, of 80
# with half this pause none.
_JACK_PORTS_APART_NS = 100_000_000


@dataclass(frozen=True, slots=True)
class Pick:
    """The port a choice comes to. `index` counts in the list of ports; None: one of our own."""

    index: int | None
    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Side:
    """One direction. `own_name` is a virtual port's."""

    client: Any  # RtMidi's class
    kind: str
    own_name: str


IN = Side(rtmidi.MidiIn, "input", "ripieno in")
OUT = Side(rtmidi.MidiOut, "output", "ripieno out")


def inputs(system: System) -> tuple[str, ...]:
    """The names of the ports that can be listened to, in the system's order."""
    return _listed(system, IN)


def outputs(system: System) -> tuple[str, ...]:
    """The names of the ports that can be sent to, in the system's order."""
    return _listed(system, OUT)


def pick_input(system: System, names: Sequence[str], choice: str | None) -> Pick:
    """What `choice` comes to among `names`, which `inputs` gave. Raises MachineError.

    A choice is a name or a part of one, VIRTUAL, or None for the likeliest port.
    """
    return pick_port(system, IN, names, choice)


def pick_output(system: System, names: Sequence[str], choice: str | None) -> Pick:
    """As `pick_input`, for `outputs`."""
    return pick_port(system, OUT, names, choice)


def open_input(system: System, choice: str | None, receive: Receive) -> "InPort | MemoryIn":
    """The input of `choice`; one in memory where the machine has no MIDI system."""
    if system.api is None:
        return MemoryIn(pick_input(system, (), choice).name, receive)
    return InPort.open(system, choice, receive)


def open_output(system: System, choice: str | None) -> "OutPort | MemoryOut":
    """As `open_input`."""
    if system.api is None:
        return MemoryOut(pick_output(system, (), choice).name)
    return OutPort.open(system, choice)


def pause(system: System, since_ns: int | None = None) -> None:
    """Wait until a program that has opened a port may open its next.

    `since_ns` is when it had, or when the next one was there; by default that is now.
    """
    if system.is_served:
        gone_ns = 0 if since_ns is None else time.monotonic_ns() - since_ns
        time.sleep(max(0, _JACK_PORTS_APART_NS - gone_ns) / NS_PER_S)


class InPort:
    """An open input. `errors` counts what `receive` raised."""

    def __init__(self, midi: Any, pick: Pick, receive: Receive) -> None:
        self.name, self.why = pick.name, pick.why
        self.errors = 0
        self._receive = receive
        self._midi = midi
        midi.ignore_types(sysex=True, timing=False, active_sense=False)
        midi.set_callback(self._arrived)

    @classmethod
    def open(cls, system: System, choice: str | None, receive: Receive) -> Self:
        """Calls `receive(data, at_ns)` for each message, on the MIDI system's own thread.

        On JACK that is the audio thread: `receive` may queue, nothing more. `at_ns` is
        monotonic. System exclusive is dropped before it gets here. Raises MachineError.
        """
        return cls(*_opened(system, IN, choice), receive)

    def _arrived(self, event: tuple[list[int], float], _data: object = None) -> None:
        at_ns = time.monotonic_ns()
        if self._midi is None:
            return  # Windows delivers what was under way after the port is closed
        try:
            self._receive(bytes(event[0]), at_ns)
        except Exception:  # rtmidi would swallow it without a word
            self.errors += 1

    def listed(self) -> list[str]:
        """The inputs that there are now, as RtMidi names them."""
        return listed(self._midi)

    def close(self) -> None:
        """Nothing that arrives later is received. May be called again."""
        midi, self._midi = self._midi, None
        if midi is not None:
            midi.cancel_callback()
            midi.close_port()
            midi.delete()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class OutPort:
    """An open output, for one thread: python-rtmidi has no lock."""

    def __init__(self, midi: Any, pick: Pick) -> None:
        self.name, self.why = pick.name, pick.why
        self._midi = midi
        self._sent_ns: int | None = None

    @classmethod
    def open(cls, system: System, choice: str | None) -> Self:
        """Raises MachineError."""
        return cls(*_opened(system, OUT, choice))

    def send(self, data: bytes) -> None:
        """Send one whole message. ValueError if it is none or the port is closed."""
        if self._midi is None or not is_legal(data):
            raise ValueError(f"{self.name}: closed, or no whole MIDI message: {data.hex(' ')}")
        try:
            self._midi.send_message(data)
        except rtmidi.RtMidiError as error:
            raise MachineError(f"MIDI output '{self.name}' refuses: {error}") from error
        self._sent_ns = time.monotonic_ns()

    def listed(self) -> list[str]:
        """The outputs that there are now, as RtMidi names them."""
        return listed(self._midi)

    def close(self) -> None:
        """Closes when what was sent has left, up to 50 ms later. May be called again."""
        midi, self._midi = self._midi, None
        if midi is None:
            return
        if self._sent_ns is not None:
            left_ns = self._sent_ns + _DRAIN_NS - time.monotonic_ns()
            time.sleep(max(0, left_ns) / NS_PER_S)
        midi.close_port()
        midi.delete()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _listed(system: System, side: Side) -> tuple[str, ...]:
    if system.api is None:
        return ()
    midi = new_client(system, side)
    try:
        return names_of(system, listed(midi))
    finally:
        midi.delete()


def _opened(system: System, side: Side, choice: str | None) -> tuple[Any, Pick]:
    """List and open through one client, for numbers hold for its own list only."""
    midi = new_client(system, side)
    try:
        pick = pick_port(system, side, names_of(system, listed(midi)), choice)
        open_port(system, midi, pick, side)
    except MachineError:
        midi.delete()
        raise
    return midi, pick


def listed(midi: Any) -> list[str]:
    """The ports that a client sees, as RtMidi names them. Raises MachineError.

    It counts them and then asks for each by its number; one that vanishes between is an error.
    """
    for _ in range(_LISTINGS):
        with suppress(rtmidi.RtMidiError):
            names: list[str] = midi.get_ports()
            return names
    raise MachineError("the MIDI ports change faster than they can be listed")


def new_client(system: System, side: Side) -> Any:
    """RtMidi's object for a side, with no port open yet. Raises MachineError."""
    try:
        return side.client(system.api, system.client)
    except rtmidi.RtMidiError as error:
        raise MachineError(f"{system.name} no longer answers: {error}") from error


def new_client_and_threads(system: System, side: Side) -> tuple[Any, frozenset[int]]:
    """As `new_client`, with the threads that the client has."""
    before = foreign()
    return new_client(system, side), foreign() - before


def names_of(system: System, raw: Sequence[str]) -> tuple[str, ...]:
    """The names that stay the same, for those that RtMidi gives, in their order."""
    if system.api == rtmidi.API_LINUX_ALSA:
        raw = [without_alsa_address(name) for name in raw]
    elif system.api == rtmidi.API_WINDOWS_MM:
        raw = [without_index(name, index) for index, name in enumerate(raw)]
    return told_apart(raw)


def open_port(system: System, midi: Any, pick: Pick, side: Side) -> None:
    """Open the port that was picked, whatever its number is by now. Raises MachineError."""
    try:
        if pick.index is None:
            midi.open_virtual_port(side.own_name)
        else:
            _open_by_name(system, midi, pick.name, side)
    except rtmidi.RtMidiError as error:
        raise MachineError(
            f"cannot open MIDI {side.kind} '{pick.name}' ({error}): is another program using it?"
        ) from error


def _open_by_name(system: System, midi: Any, name: str, side: Side) -> None:
    for _ in range(_OPENINGS):
        index = _index(system, midi, name)
        midi.open_port(index, side.own_name)
        with suppress(MachineError):
            if _index(system, midi, name) == index:
                return
        midi.close_port()
    raise MachineError(f"the MIDI ports change faster than '{name}' can be opened")


def _index(system: System, midi: Any, name: str) -> int:
    """A port's number in the list as it is now. Raises MachineError if it is gone."""
    names = names_of(system, listed(midi))
    if name not in names:
        raise MachineError(f"MIDI port '{name}' is gone again")
    return names.index(name)


def pick_port(
    system: System,
    side: Side,
    names: Sequence[str],
    choice: str | None,
    remembered: Remembered = NOTHING_REMEMBERED,
) -> Pick:
    """As `pick_input`; what is remembered counts where there is no choice."""
    kind = side.kind
    if choice is None:
        return _likeliest(system, side, names, remembered)
    if choice == VIRTUAL:
        if not system.virtual:
            raise MachineError(f"{system.name} has no virtual {kind}: name a port of its own")
        return Pick(None, side.own_name, f"a virtual {kind} was asked for")
    index = find(names, choice, kind)
    return Pick(index, names[index], f"'{choice}' was asked for")


def _likeliest(system: System, side: Side, names: Sequence[str], remembered: Remembered) -> Pick:
    for name in remembered.used:
        if name in names:
            return Pick(names.index(name), name, "it was in use before")
    missing = remembered.used[0] if remembered.used else None
    for index, name in enumerate(names):
        is_other = not is_loopback(name) and CLIENT not in name.casefold()
        if is_other and name not in remembered.passed:
            why = f"the first {side.kind} that is no loopback"
            return Pick(
                index, name, why if missing is None else f"it came when '{missing}' was gone"
            )
    if system.api is None:
        return Pick(None, side.own_name, "in memory, there being no MIDI system")
    lack = f"no {side.kind} is plugged in" if missing is None else f"'{missing}' is waited for"
    if system.virtual:
        return Pick(None, side.own_name, f"virtual, for {lack}")
    lack = f"no MIDI {side.kind} is plugged in" if missing is None else f"MIDI {side.kind} {lack}"
    raise MachineError(f"{lack}, and {system.name} has no virtual ones")
