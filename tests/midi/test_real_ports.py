"""Real ports, through a JACK server with the dummy driver; other programs at the other ends."""

import os
import time
from pathlib import Path
from queue import SimpleQueue

import pytest

from jack_server import Recorder, press
from ripieno.errors import MachineError
from ripieno.midi import ports
from ripieno.midi.systems import System

pytestmark = pytest.mark.jack

# Differing data bytes; a program change, for it is two bytes long.
PLAYED = [b"\x90\x3c\x41", b"\xc2\x05", b"\xb0\x40\x7f", b"\x80\x3c\x42"]


class Inbox:
    """Receives as the engine does: it queues."""

    def __init__(self) -> None:
        self.queue: SimpleQueue[tuple[bytes, int]] = SimpleQueue()

    def receive(self, data: bytes, at_ns: int) -> None:
        self.queue.put((data, at_ns))

    def take(self, count: int) -> list[tuple[bytes, int]]:
        return [self.queue.get(timeout=20) for _ in range(count)]


def test_the_wheels_own_jack_library_reaches_the_server(jack: System) -> None:
    assert (jack.name, jack.virtual) == ("JACK", True)


def test_what_another_program_sends_to_a_virtual_input_arrives_stamped(jack: System) -> None:
    inbox = Inbox()
    before = time.monotonic_ns()
    with ports.open_input(jack, "virtual", inbox.receive) as source:
        press("ripieno in", [(place * 20, data) for place, data in enumerate(PLAYED)])
        heard = inbox.take(len(PLAYED))
        assert source.errors == 0
    stamps = [before, *(at_ns for _, at_ns in heard), time.monotonic_ns()]
    assert [data for data, _ in heard] == PLAYED
    assert stamps == sorted(stamps)


def test_what_is_sent_to_a_virtual_output_reaches_another_program_in_order(jack: System) -> None:
    chord = [bytes((0x90, note, 64)) for note in range(48, 58)]
    with (
        ports.open_output(jack, "virtual") as target,
        Recorder("ripieno out") as recorder,
    ):
        for data in chord:
            target.send(data)
        heard = recorder.stop(at_least=len(chord))
    assert [data for _, data in heard] == chord


def test_closing_right_after_sending_loses_nothing(jack: System) -> None:
    with ports.open_output(jack, "virtual") as target, Recorder("ripieno out") as recorder:
        offs = [bytes((0x80, note, 64)) for note in range(16)]
        for data in offs:
            target.send(data)
        target.close()
        heard = recorder.stop(at_least=len(offs))
    assert [data for _, data in heard] == offs


def test_ports_are_found_by_a_part_of_their_name(jack: System) -> None:
    inbox = Inbox()
    with (
        ports.open_input(jack, "virtual", inbox.receive),
        ports.open_output(jack, "RIPIENO IN") as target,
    ):
        assert target.name == "ripieno:ripieno in"
        target.send(PLAYED[0])
        assert inbox.take(1)[0][0] == PLAYED[0]
        with pytest.raises(MachineError, match="no MIDI output 'harp': there is 'ripieno:ripieno"):
            ports.open_output(jack, "harp")


def test_with_no_name_given_the_port_of_another_program_is_taken(jack: System) -> None:
    with (
        ports.open_output(jack, "virtual"),
        Recorder("ripieno out") as recorder,
        ports.open_output(jack, None) as target,
    ):
        assert "recorder" in target.name
        target.send(PLAYED[0])
        heard = recorder.stop(at_least=1)
    assert [data for _, data in heard] == PLAYED[:1]


def test_a_receiver_that_fails_is_counted_and_the_next_message_arrives(jack: System) -> None:
    inbox = Inbox()

    def receive(data: bytes, at_ns: int) -> None:
        if data == PLAYED[0]:
            raise RuntimeError("the first message is one too many")
        inbox.receive(data, at_ns)

    with ports.open_input(jack, "virtual", receive) as source:
        press("ripieno in", [(0, PLAYED[0]), (10, PLAYED[1])])
        assert inbox.take(1)[0][0] == PLAYED[1]
        assert source.errors == 1


def test_clock_and_active_sensing_arrive_and_system_exclusive_does_not(jack: System) -> None:
    inbox = Inbox()
    with ports.open_input(jack, "virtual", inbox.receive):
        sent = [b"\xfe", b"\xf0\x7e\x7f\x09\x01\xf7", b"\xf8", PLAYED[0]]
        press("ripieno in", [(place * 10, data) for place, data in enumerate(sent)])
        assert [data for data, _ in inbox.take(3)] == [b"\xfe", b"\xf8", PLAYED[0]]


@pytest.mark.parametrize("data", [b"", b"\x90\x3c", b"\x3c\x40\x40", b"\x90\x3c\x80"])
def test_what_is_no_whole_message_is_not_sent(jack: System, data: bytes) -> None:
    with ports.open_output(jack, "virtual") as target:
        with pytest.raises(ValueError, match="no whole MIDI message"):
            target.send(data)
        target.close()
        with pytest.raises(ValueError, match="closed"):
            target.send(PLAYED[0])


def test_opening_and_closing_twenty_times_leaves_nothing_behind(jack: System) -> None:
    if not Path("/proc/self/task").exists():
        pytest.skip("counts file descriptors and threads in /proc")

    def cycle() -> None:
        source = ports.open_input(jack, "virtual", lambda *_: None)
        target = ports.open_output(jack, "virtual")
        for port in (source, target, source, target):
            port.close()

    cycle()  # what the library opens once and keeps
    held = [len(os.listdir(f"/proc/self/{what}")) for what in ("fd", "task")]
    for _ in range(20):
        cycle()
    assert [len(os.listdir(f"/proc/self/{what}")) for what in ("fd", "task")] == held
    assert ports.inputs(jack) == ports.outputs(jack) == ()
