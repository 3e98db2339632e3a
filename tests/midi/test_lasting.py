"""Ports that come and go, on a real JACK server: another process has the instruments."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from queue import SimpleQueue

import pytest
import rtmidi

from instruments import plugged, pressed_until_heard
from jack_server import press
from ripieno.midi import ports
from ripieno.midi.ahead import ClientAhead, PortsAhead
from ripieno.midi.lasting import LastingInput, LastingOutput, PortState
from ripieno.midi.names import NOTHING_REMEMBERED
from ripieno.midi.sounding import Sounding
from ripieno.midi.systems import System
from ripieno.perform.message import control, note_off, note_on, silence

NONE = System(None, "memory", "no MIDI system", virtual=False)


@contextmanager
def listening(
    choice: str | None, ahead: ClientAhead | None = None
) -> Iterator[tuple[LastingInput, "SimpleQueue[bytes]"]]:
    heard: SimpleQueue[bytes] = SimpleQueue()
    port = LastingInput(choice, lambda data, _: heard.put(data), ahead)
    try:
        yield port, heard
    finally:
        port.close()


@contextmanager
def sending(choice: str | None, sounding: Sounding) -> Iterator[LastingOutput]:
    port = LastingOutput(choice, sounding)
    try:
        yield port
    finally:
        port.close()


@pytest.mark.jack
def test_a_keyboard_that_is_not_there_is_waited_for_and_lost_and_found_again(jack: System) -> None:
    with listening("stage keys") as (port, heard):
        assert not port.look(jack)
        assert port.state.name == ""
        assert port.state.why.startswith("no MIDI input 'stage keys': ")
        for _ in range(3):
            with plugged("MidiOut", "stage keys", "main") as keyboard:
                assert port.look(jack)
                assert port.state == PortState("stage keys:main", "'stage keys' was asked for")
                assert not port.look(jack)
                pressed_until_heard(keyboard, heard, b"\x90\x3c\x40")
            assert port.look(jack)
            assert port.state.name == ""
            assert not port.look(jack)  # and waits for the next


@pytest.mark.jack
def test_without_a_choice_an_instrument_takes_the_place_of_the_virtual_port(jack: System) -> None:
    with listening(None) as (port, heard):
        assert port.look(jack)
        assert port.state.name == "ripieno in"
        press("ripieno in", [(0, b"\x90\x3d\x40")])
        assert heard.get(timeout=20) == b"\x90\x3d\x40"
        with plugged("MidiOut", "b-keys", "main") as keyboard:
            assert port.look(jack)
            assert port.state.name == "b-keys:main"
            with plugged("MidiOut", "a-keys", "main"):
                assert not port.look(jack)  # the one in use stays in use
                pressed_until_heard(keyboard, heard, b"\x90\x3e\x40")
        assert port.look(jack)
        assert port.state.name == "ripieno in"


@pytest.mark.jack
def test_what_sounded_on_a_pulled_instrument_ends_when_it_is_back(jack: System) -> None:
    with sending("piano", Sounding.unkept()) as port:
        port.look(jack)
        port.send(note_on(0, 60, 80))
        assert port.unheard == 1
        with plugged("MidiIn", "piano", "in") as piano:
            assert port.look(jack)
            port.send(note_on(0, 60, 80))
            port.send(note_on(1, 70, 80))
            assert piano.heard(2) == [note_on(0, 60, 80), note_on(1, 70, 80)]
        assert port.look(jack)
        port.send(note_off(0, 60))  # into the void: the piano has not heard it
        endings = [note_off(0, 60), note_off(1, 70), *silence(0), *silence(1)]
        with plugged("MidiIn", "piano", "in") as piano:
            assert port.look(jack)
            port.send(note_on(0, 64, 80))
            heard = piano.heard(len(endings) + 1)
    assert heard == [*endings, note_on(0, 64, 80)]
    assert port.ended == 2


@pytest.mark.jack
def test_what_was_ended_is_ended_again_only_where_it_may_not_have_arrived(jack: System) -> None:
    sounding = Sounding.unkept()
    with sending("piano", sounding) as port, plugged("MidiIn", "piano", "in") as piano:
        port.look(jack)
        for data in (note_on(0, 60, 80), note_off(0, 60)):
            port.send(data)
        assert not port.look(jack)  # what this opening has played itself is not ended twice
        port.send(note_on(0, 64, 80))
        assert piano.heard(3)[-1] == note_on(0, 64, 80)
        port.send(note_off(0, 64))
        assert sounding.doubtful() == [note_off(0, 60), note_off(0, 64), control(0, 64, 0)]
        port.close()
        assert sounding.doubtful() == []


@pytest.mark.jack
def test_what_was_ended_is_ended_again_when_other_ports_come_or_go(jack: System) -> None:
    with sending("piano", Sounding.unkept()) as port, plugged("MidiIn", "piano", "in") as piano:
        port.look(jack)
        port.send(note_on(0, 60, 80))
        port.send(note_off(0, 60))
        assert not port.look(jack)
        with plugged("MidiIn", "organ", "in"):
            assert not port.look(jack)
            assert not port.look(jack)
            port.send(note_on(0, 64, 80))
            heard = piano.heard(5)
    again = [note_off(0, 60), control(0, 64, 0)]
    assert heard == [note_on(0, 60, 80), note_off(0, 60), *again, note_on(0, 64, 80)]


def left_sounding(note: int) -> Sounding:
    sounding = Sounding.unkept()
    sounding.before(note_on(0, note, 80))
    return sounding


@pytest.mark.jack
def test_an_output_that_was_open_ahead_is_taken_over_and_ends_what_sounded(jack: System) -> None:
    ahead = PortsAhead()
    with plugged("MidiIn", "piano", "in") as piano, plugged("MidiIn", "organ", "in") as organ:
        for instrument, name in ((piano, "piano:in"), (organ, "organ:in")):
            ahead.follow(jack, "piano:in")
            assert ahead.output.opened == ("piano:in", "piano:in")
            port = LastingOutput(name, left_sounding(60), ahead.output)
            assert port.look(jack)
            assert port.state.name == name
            port.send(note_on(0, 64, 80))
            endings = [note_off(0, 60), *silence(0)]
            assert instrument.heard(len(endings) + 1) == [*endings, note_on(0, 64, 80)]
            port.close()
            ahead = PortsAhead()


@pytest.mark.jack
def test_clients_made_ahead_are_taken_over_and_open_what_has_come_since_too(jack: System) -> None:
    with plugged("MidiIn", "piano", "in") as piano:
        ahead = PortsAhead()
        ahead.look(jack)
        assert "piano:in" in ahead.output.seen
        port = LastingOutput("piano:in", left_sounding(60), ahead.output)
        with plugged("MidiOut", "keys", "out") as keys:
            assert "keys:out" not in ahead.input.seen
            with listening("keys:out", ahead.input) as (source, heard):
                assert port.look(jack)
                assert source.look(jack)
                endings = [note_off(0, 60), *silence(0)]
                assert piano.heard(len(endings)) == endings
                pressed_until_heard(keys, heard, note_on(0, 64, 80))
        port.close()


@pytest.mark.jack
def test_what_ended_is_ended_again_at_the_end_but_not_what_was_left_sounding(jack: System) -> None:
    with plugged("MidiIn", "piano", "in") as piano:
        with sending("piano", Sounding.unkept()) as port:
            assert port.look(jack)
            for data in (note_on(0, 60, 80), note_on(1, 64, 80), note_off(0, 60)):
                port.send(data)
        struck = [note_on(0, 60, 80), note_on(1, 64, 80), note_off(0, 60)]
        again = [note_off(0, 60), control(0, 64, 0)]
        assert piano.heard(7) == [*struck, *again, *again]


@pytest.mark.jack
def test_clients_made_ahead_are_left_for_another_system(jack: System) -> None:
    ahead = PortsAhead()
    ahead.look(jack)
    ahead.leave_other(replace(jack))
    assert ahead.input.midi is not None
    ahead.leave_other(NONE)
    assert (ahead.input.midi, ahead.output.midi) == (None, None)
    ahead.look(NONE)
    assert (ahead.input.midi, ahead.output.midi) == (None, None)


@pytest.mark.jack
def test_an_output_that_is_not_there_or_not_wanted_is_not_opened_ahead(jack: System) -> None:
    ahead = PortsAhead()
    ahead.follow(jack, "piano:in")
    assert ahead.output.opened is None
    with plugged("MidiIn", "piano", "in"):
        ahead.follow(jack, "piano:in")
        ahead.follow(jack, "")
        assert (ahead.output.midi, ahead.output.opened) == (None, None)
        ahead.follow(NONE, "piano:in")
        assert ahead.output.midi is None


@pytest.mark.jack
def test_endings_are_repeated_but_not_for_what_has_been_struck_since(jack: System) -> None:
    sounding = left_sounding(60)
    sounding.before(note_on(0, 62, 80))
    with sending("piano", sounding) as port, plugged("MidiIn", "piano", "in") as piano:
        assert port.look(jack)
        port.send(note_on(0, 62, 80))
        port.repeat_endings()
        port.send(note_on(0, 65, 80))
        heard = piano.heard(11)
    assert set(heard[:2]) == {note_off(0, 60), note_off(0, 62)}
    again = [note_off(0, 60), control(0, 64, 0)]
    assert heard[7:] == [note_on(0, 62, 80), *again, note_on(0, 65, 80)]


class Bench:
    """A MIDI system whose ports are `names`, as RtMidi shows them to each of its clients."""

    def __init__(self) -> None:
        self.names: list[str] = []

    def client(self, _api: int, _name: str) -> "Bench":
        return self

    def get_ports(self) -> list[str]:
        return list(self.names)

    def open_port(self, *_: object) -> None: ...

    open_virtual_port = close_port = delete = open_port


ALSA = System(rtmidi.API_LINUX_ALSA, "ALSA", "the test's", virtual=True)
KEYBOARD, SYNTH, PIANO, ORGAN = "Keys:in 20:0", "Synth:in 24:0", "Piano:in 28:0", "Organ:in 32:0"


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    bench = Bench()
    monkeypatch.setattr(ports, "OUT", ports.Side(bench.client, "output", "ripieno out"))
    return bench


def looked(port: LastingOutput, bench: Bench, *names: str) -> str:
    bench.names = list(names)
    port.look(ALSA)
    return port.state.name


def test_a_port_taken_by_itself_is_waited_for_and_none_that_was_beside_it_is_taken(
    bench: Bench,
) -> None:
    with sending(None, Sounding.unkept()) as port:
        assert looked(port, bench, SYNTH) == "Synth:in"
        assert looked(port, bench, KEYBOARD, SYNTH) == "Synth:in"
        assert looked(port, bench, KEYBOARD) == "ripieno out"
        assert port.state.why == "virtual, for 'Synth:in' is waited for"
        assert looked(port, bench) == "ripieno out"  # a hub that comes back, its ports one by one
        assert looked(port, bench, KEYBOARD) == "ripieno out"
        assert looked(port, bench, KEYBOARD, "Synth:in 40:0") == "Synth:in"


def test_an_instrument_plugged_in_for_one_that_is_gone_is_taken_and_not_taken_away(
    bench: Bench,
) -> None:
    with sending(None, Sounding.unkept()) as port:
        for names in ([SYNTH, KEYBOARD], [SYNTH, KEYBOARD], [KEYBOARD]):
            looked(port, bench, *names)
        assert looked(port, bench, KEYBOARD, PIANO) == "Piano:in"
        assert port.state.why == "it came when 'Synth:in' was gone"
        assert looked(port, bench, KEYBOARD, SYNTH, PIANO, ORGAN) == "Piano:in"
        assert looked(port, bench, KEYBOARD, ORGAN) == "ripieno out"
        assert looked(port, bench, KEYBOARD, ORGAN, SYNTH) == "Synth:in"


def test_the_next_engine_waits_for_the_port_that_the_last_had_taken(bench: Bench) -> None:
    with sending(None, Sounding.unkept()) as port:
        looked(port, bench, SYNTH, KEYBOARD)
        looked(port, bench, SYNTH, KEYBOARD)
        remembered = port.remembered
    port = LastingOutput(None, Sounding.unkept(), None, remembered)
    assert looked(port, bench, KEYBOARD) == "ripieno out"
    assert looked(port, bench, KEYBOARD, SYNTH) == "Synth:in"
    port.close()
    port = LastingOutput("keys", Sounding.unkept(), None, remembered)
    assert looked(port, bench, KEYBOARD, SYNTH) == "Keys:in"
    assert port.remembered == NOTHING_REMEMBERED
    port.close()


def test_a_choice_that_several_ports_fit_keeps_the_one_in_use_and_else_waits(bench: Bench) -> None:
    with sending("in", Sounding.unkept()) as port:
        assert looked(port, bench, SYNTH, PIANO) == ""
        assert port.state.why.endswith("could be 'Synth:in', 'Piano:in': write more of the name")
        assert looked(port, bench, SYNTH) == "Synth:in"
        assert looked(port, bench, PIANO, SYNTH) == "Synth:in"
        assert looked(port, bench, PIANO, ORGAN) == ""


def test_a_port_has_the_same_name_whatever_its_number_is_after_a_restart(bench: Bench) -> None:
    with sending("synth", Sounding.unkept()) as port:
        assert looked(port, bench, KEYBOARD, SYNTH) == "Synth:in"
        assert looked(port, bench, "Synth:in 20:0", "Keys:in 28:0") == "Synth:in"
        assert looked(port, bench, "Other synth:in 20:0") == "Other synth:in"
        assert looked(port, bench, KEYBOARD) == ""
        assert port.state.why == "no MIDI output 'synth': there is 'Keys:in'"


def test_in_memory_a_side_without_a_name_is_open_and_one_with_a_name_is_waited_for() -> None:
    with sending(None, Sounding.unkept()) as port:
        assert port.look(NONE)
        assert port.state.name == "ripieno out"
    with listening("keys") as (source, _):
        assert not source.look(NONE)
        assert "there is none at all" in source.state.why
