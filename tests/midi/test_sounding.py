"""What sounds, kept in a file that outlives the process."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig import left_sounding
from ripieno.errors import MachineError
from ripieno.midi.sounding import Sounding
from ripieno.perform.message import HOLDING, SUSTAIN, control, note_off, note_on, silence


def send(sounding: Sounding, *messages: bytes) -> None:
    for data in messages:
        sounding.before(data)
        sounding.after(data)


channels, notes = st.integers(0, 15), st.integers(0, 127)
messages = st.one_of(
    st.builds(note_on, channels, notes, st.integers(1, 127)),
    st.builds(note_off, channels, notes),
    st.builds(control, channels, st.sampled_from(HOLDING), notes),
    st.builds(lambda channel: control(channel, 7, 100), channels),
    st.just(b"\xe3\x00\x40"),
)


@given(st.lists(messages, max_size=60))
def test_its_endings_end_exactly_what_was_begun(sent: list[bytes]) -> None:
    sounding = Sounding.unkept()
    send(sounding, *sent)
    on = {(d[0] & 15, d[1]): d[0] & 0xF0 == 0x90 for d in sent if d[0] & 0xF0 in (0x80, 0x90)}
    expected = {key for key, is_on in on.items() if is_on}
    endings = sounding.endings()
    offs = [data for data in endings if data[0] & 0xF0 == 0x80]
    assert {(data[0] & 15, data[1]) for data in offs} == expected
    assert len(offs) == len(expected) == sounding.notes
    pedals = {(d[0] & 15, d[1]): d[2] for d in sent if d[0] & 0xF0 == 0xB0 and d[1] in HOLDING}
    concerned = {channel for channel, _ in expected} | {c for (c, _), v in pedals.items() if v}
    rest = [data for data in endings if data not in offs]
    assert rest == [data for channel in sorted(concerned) for data in silence(channel)]
    sounding.forget()
    assert sounding.endings() == []


def test_a_note_stands_there_from_before_it_is_sent_until_after_its_note_off_is() -> None:
    sounding = Sounding.unkept()
    sounding.before(note_on(2, 60, 1))
    assert sounding.endings()[0] == note_off(2, 60)
    sounding.before(note_off(2, 60))
    assert sounding.endings()[0] == note_off(2, 60)
    sounding.after(note_off(2, 60))
    assert sounding.endings() == []


def test_a_pedal_that_is_going_down_or_coming_up_is_taken_to_be_down() -> None:
    sounding = Sounding.unkept()
    sounding.before(control(4, SUSTAIN, 90))
    assert sounding.endings() == silence(4)
    sounding.after(control(4, SUSTAIN, 90))
    sounding.before(control(4, SUSTAIN, 0))
    assert sounding.endings() == silence(4)
    sounding.after(control(4, SUSTAIN, 0))
    assert sounding.endings() == []


KILLED = """
import os, sys
from pathlib import Path
from ripieno.midi.sounding import Sounding
sounding = Sounding.at(Path(sys.argv[1]))
sounding.output = "a piano"
for note in (40, 52, 64):
    sounding.before(bytes((0x93, note, 80)))
os.kill(os.getpid(), 9)
"""


def test_what_a_killed_process_was_sounding_is_read_by_the_next(tmp_path: Path) -> None:
    path = tmp_path / "sounding"
    killed = subprocess.run([sys.executable, "-c", KILLED, path], check=False)
    assert killed.returncode == -signal.SIGKILL
    left = Sounding.at(path)
    assert left.output == "a piano"
    assert left.endings() == [*(note_off(3, note) for note in (40, 52, 64)), *silence(3)]
    assert left_sounding([note_on(3, note, 1) for note in (40, 52, 64)] + left.endings()) == set()
    assert os.stat(path).st_mode & 0o777 == 0o600


def test_a_long_name_is_cut_and_a_shorter_one_takes_its_place() -> None:
    sounding = Sounding.unkept()
    sounding.output = "ü" * 500
    assert sounding.output == "ü" * 128
    sounding.output = "Keys"
    assert sounding.output == "Keys"


def test_a_place_that_cannot_be_written_is_refused_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(MachineError, match="cannot keep what sounds"):
        Sounding.at(tmp_path / "no folder" / "sounding")
    target = tmp_path / "target"
    target.write_bytes(b"somebody's")
    (tmp_path / "sounding").symlink_to(target)
    with pytest.raises(MachineError, match="cannot keep what sounds"):
        Sounding.at(tmp_path / "sounding")
    assert target.read_bytes() == b"somebody's"
