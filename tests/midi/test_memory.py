"""Ports inside the program."""

import time

import pytest

from ripieno.midi.memory import MemoryIn, MemoryOut

ON, OFF = b"\x90\x3c\x40", b"\x80\x3c\x40"


def test_what_is_sent_is_kept_with_the_instant_of_sending() -> None:
    target = MemoryOut("out")
    before = time.monotonic_ns()
    target.send(ON)
    target.send(OFF)
    after = time.monotonic_ns()
    stamps = [at_ns for at_ns, _ in target.sent]
    assert [data for _, data in target.sent] == [ON, OFF]
    assert [before, *stamps, after] == sorted([before, *stamps, after])


def test_what_one_port_sends_the_other_receives_with_the_same_stamp() -> None:
    heard: list[tuple[int, bytes]] = []
    source = MemoryIn("in", lambda data, at_ns: heard.append((at_ns, data)))
    target = MemoryOut("out", source.deliver)
    target.send(ON)
    assert heard == list(target.sent)


def test_a_closed_port_receives_nothing_and_refuses_to_send() -> None:
    heard: list[bytes] = []
    with MemoryIn("in", lambda data, _: heard.append(data)) as source, MemoryOut("out") as target:
        pass
    source.deliver(ON, 0)
    assert heard == []
    with pytest.raises(ValueError, match="out: closed"):
        target.send(ON)
    source.close()
    target.close()


@pytest.mark.parametrize(
    "data", [b"", b"\x90", b"\x90\x3c", b"\x3c\x40", b"\x90\x3c\x80", ON + OFF]
)
def test_what_is_no_whole_message_is_not_sent(data: bytes) -> None:
    target = MemoryOut("out")
    with pytest.raises(ValueError, match="no whole MIDI message"):
        target.send(data)
    assert not target.sent
