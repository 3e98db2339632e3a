"""What a choice of port comes to, without opening any."""

import pytest
import rtmidi

from ripieno.errors import MachineError
from ripieno.midi import ports, systems
from ripieno.midi.memory import MemoryIn, MemoryOut
from ripieno.midi.systems import System

ALSA = System(rtmidi.API_LINUX_ALSA, "ALSA", "ALSA answers", virtual=True)
WINDOWS = System(rtmidi.API_WINDOWS_MM, "Windows MM", "Windows MM answers", virtual=False)
NONE = systems.choose(())

FOUND = ("Midi Through:Midi Through Port-0", "ripieno:ripieno out", "Keys", "Organ")


def test_with_no_name_given_the_first_port_is_taken_that_is_neither_loopback_nor_our_own() -> None:
    pick = ports.pick_input(ALSA, FOUND, None)
    assert (pick.index, pick.name) == (2, "Keys")
    assert pick.why == "the first input that is no loopback"


def test_with_nothing_plugged_in_a_virtual_port_waits() -> None:
    pick = ports.pick_output(ALSA, FOUND[:2], None)
    assert (pick.index, pick.name) == (None, "ripieno out")
    assert pick.why == "virtual, for no output is plugged in"


def test_with_nothing_plugged_in_and_no_virtual_ports_the_machine_refuses() -> None:
    with pytest.raises(MachineError, match="no MIDI input is plugged in, and Windows MM has no"):
        ports.pick_input(WINDOWS, (), None)


def test_a_virtual_port_is_made_when_asked_for_where_the_system_has_them() -> None:
    assert ports.pick_input(ALSA, FOUND, "virtual").name == "ripieno in"
    for system in (WINDOWS, NONE):
        with pytest.raises(MachineError, match=f"{system.name} has no virtual input"):
            ports.pick_input(system, FOUND, "virtual")


def test_a_name_is_looked_for_among_the_ports_found() -> None:
    assert ports.pick_output(ALSA, FOUND, "org").index == 3
    with pytest.raises(MachineError, match="no MIDI output 'harp': there is 'Midi Through"):
        ports.pick_output(ALSA, FOUND, "harp")


def test_without_a_midi_system_the_ports_opened_are_in_memory() -> None:
    assert ports.inputs(NONE) == ports.outputs(NONE) == ()
    heard: list[bytes] = []
    with (
        ports.open_input(NONE, None, lambda data, _: heard.append(data)) as source,
        ports.open_output(NONE, None) as target,
    ):
        assert isinstance(source, MemoryIn)
        assert isinstance(target, MemoryOut)
        assert (source.name, target.name) == ("ripieno in", "ripieno out")
        source.deliver(b"\x90\x3c\x40", 5)
    assert heard == [b"\x90\x3c\x40"]


class Changing:
    """Ports that vanish while they are counted, so many times."""

    def __init__(self, times: int) -> None:
        self.times = times

    def get_ports(self) -> list[str]:
        self.times -= 1
        if self.times >= 0:
            raise rtmidi.InvalidPortError("the 'portNumber' argument (1) is invalid.")
        return ["Keys"]


def test_ports_that_vanish_while_they_are_listed_are_listed_again() -> None:
    assert ports.listed(Changing(3)) == ["Keys"]
    with pytest.raises(MachineError, match="change faster than they can be listed"):
        ports.listed(Changing(1000))


def test_without_a_midi_system_a_named_port_is_refused() -> None:
    with pytest.raises(MachineError, match="no MIDI input 'Keys'"):
        ports.open_input(NONE, "Keys", lambda *_: None)


class Shifting:
    """As RtMidi's object, in a system whose ports change before each time that it is opened."""

    def __init__(self, *lists: list[str]) -> None:
        self._lists = list(lists)
        self.opened: list[str] = []
        self.open: str | None = None

    def get_ports(self) -> list[str]:
        return self._lists[0]

    def open_port(self, number: int, _name: str) -> None:
        assert self.open is None
        if len(self._lists) > 1:
            self._lists.pop(0)
        self.open = self._lists[0][number]
        self.opened.append(self.open)

    def close_port(self) -> None:
        self.open = None


def test_a_number_that_has_become_another_ports_is_not_kept_open() -> None:
    midi = Shifting(["organ", "piano", "ripieno in"], ["piano", "ripieno in"])
    ports.open_port(ALSA, midi, ports.Pick(1, "piano", "the test's"), ports.OUT)
    assert midi.opened == ["ripieno in", "piano"]
    assert midi.open == "piano"


def test_a_port_that_goes_while_it_is_opened_is_said_to_be_gone() -> None:
    midi = Shifting(["organ", "piano", "harp"], ["organ", "harp"])
    with pytest.raises(MachineError, match="'piano' is gone again"):
        ports.open_port(ALSA, midi, ports.Pick(1, "piano", "the test's"), ports.OUT)
    assert midi.open is None


def test_ports_that_change_without_end_are_given_up() -> None:
    lists = [["piano", "harp", "organ"], ["organ", "piano", "harp"]] * 8
    midi = Shifting(*lists)
    with pytest.raises(MachineError, match="change faster than 'piano' can be opened"):
        ports.open_port(ALSA, midi, ports.Pick(0, "piano", "the test's"), ports.OUT)
    assert midi.open is None
