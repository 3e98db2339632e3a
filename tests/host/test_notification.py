"""What reaches a service manager: a datagram socket stands for one."""

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.host.notification import Notifier

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no service manager's sockets")


class Manager:
    """The end of the socket that a service manager reads."""

    def __init__(self, address: str) -> None:
        self.address = address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind("\0" + address[1:] if address.startswith("@") else address)
        self._socket.setblocking(False)

    @property
    def environment(self) -> dict[str, str]:
        return {"NOTIFY_SOCKET": self.address}

    def heard(self) -> list[list[str]]:
        """The lines of each datagram that has come since the last call."""
        datagrams = []
        with suppress(BlockingIOError):
            while True:
                datagrams.append(self._socket.recv(65536).decode().split("\n"))
        return datagrams

    def fill(self) -> int:
        """Datagrams until no more go in; how many."""
        sent = 0
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as other, suppress(BlockingIOError):
            other.setblocking(False)
            while True:
                other.sendto(b"X=1", self.address)
                sent += 1
        return sent

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    manager = Manager(str(tmp_path / "notify"))
    yield manager
    manager.close()


def test_each_state_is_one_datagram_of_assignments(manager: Manager) -> None:
    notifier = Notifier.from_environment(manager.environment)
    notifier.ready("waltz at 92")
    notifier.status("no keyboard")
    notifier.alive()
    notifier.stopping()
    assert manager.heard() == [
        ["READY=1", "STATUS=waltz at 92"],
        ["STATUS=no keyboard"],
        ["WATCHDOG=1"],
        ["STOPPING=1"],
    ]


def test_reloading_says_when_it_began_on_the_monotonic_clock(manager: Manager) -> None:
    before_us = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    Notifier.from_environment(manager.environment).reloading()
    after_us = time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000
    ((first, second),) = manager.heard()
    assert first == "RELOADING=1"
    name, _, value = second.partition("=")
    assert name == "MONOTONIC_USEC"
    assert before_us <= int(value) <= after_us


@pytest.mark.skipif(shutil.which("systemd-notify") is None, reason="needs systemd-notify")
def test_it_says_what_systemds_own_program_says(manager: Manager) -> None:
    command = ["systemd-notify", "--no-block", "--ready", "--status=two words"]
    subprocess.run(command, env=os.environ | manager.environment, check=True)
    (theirs,) = (lines for lines in manager.heard() if "READY=1" in lines)
    Notifier.from_environment(manager.environment).ready("two words")
    (ours,) = manager.heard()
    assert set(ours) <= set(theirs)


@pytest.mark.skipif(sys.platform != "linux", reason="abstract sockets are Linux's")
def test_an_abstract_name_is_reached() -> None:
    manager = Manager(f"@ripieno-test-{os.getpid()}")
    Notifier.from_environment(manager.environment).alive()
    assert manager.heard() == [["WATCHDOG=1"]]
    manager.close()


@pytest.mark.parametrize("address", [None, "", "vsock:2:1234", "relative"])
def test_without_a_manager_to_speak_to_nothing_is_said(address: str | None) -> None:
    environment = {} if address is None else {"NOTIFY_SOCKET": address}
    notifier = Notifier.from_environment(environment | {"WATCHDOG_USEC": "1000000"})
    notifier.ready("playing")
    notifier.alive()
    assert notifier.watchdog_s is None


OWN = "this process's"  # a number that the names of tests must not have


@pytest.mark.parametrize(
    ("asked", "every_s"),
    [
        ({"WATCHDOG_USEC": "10000000"}, 5.0),
        ({"WATCHDOG_USEC": "10000000", "WATCHDOG_PID": OWN}, 5.0),
        ({"WATCHDOG_USEC": "10000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "-5"}, None),
        ({}, None),
    ],
    ids=str,
)
def test_a_sign_of_life_is_due_after_half_of_what_the_manager_allows(
    asked: dict[str, str], every_s: float | None, manager: Manager
) -> None:
    asked = {name: str(os.getpid()) if value == OWN else value for name, value in asked.items()}
    assert Notifier.from_environment(manager.environment | asked).watchdog_s == every_s


def test_a_manager_that_is_gone_is_told_when_it_is_back(tmp_path: Path) -> None:
    address = str(tmp_path / "notify")
    notifier = Notifier(address)
    notifier.ready("playing")
    notifier.status("playing on")
    back = Manager(address)
    notifier.alive()
    assert back.heard() == [["READY=1", "STATUS=playing on", "WATCHDOG=1"]]
    notifier.alive()
    assert back.heard() == [["WATCHDOG=1"]]
    back.close()


def test_a_full_queue_neither_blocks_nor_loses_the_state(manager: Manager) -> None:
    assert manager.fill() > 0
    notifier = Notifier(manager.address)
    notifier.reloading()
    notifier.ready("playing")  # a call that waits would hang here, until the test's time is up
    assert not any("READY=1" in lines for lines in manager.heard())
    notifier.alive()
    assert manager.heard() == [["READY=1", "STATUS=playing", "WATCHDOG=1"]]


def test_a_path_too_long_for_a_socket_is_no_error(tmp_path: Path) -> None:
    Notifier(str(tmp_path / ("x" * 200))).ready("playing")


@pytest.mark.skipif(sys.platform != "linux", reason="abstract sockets are Linux's")
@given(st.text(st.characters(), max_size=2000))
def test_no_status_text_can_say_anything_else(text: str) -> None:
    manager = Manager(f"@ripieno-test-{os.getpid()}")
    Notifier(manager.address).status(text)
    ((line,),) = manager.heard()
    assert line.startswith("STATUS=")
    assert "\0" not in line
    assert len(line.encode()) < 4096
    manager.close()


def test_a_long_status_is_cut_to_what_a_manager_takes(manager: Manager) -> None:
    Notifier(manager.address).status("\N{MUSICAL SYMBOL G CLEF}" * 3000)
    ((line,),) = manager.heard()
    assert 2000 < len(line.encode()) < 4096


def test_newlines_in_a_status_become_spaces(manager: Manager) -> None:
    Notifier(manager.address).status("bad\nSTOPPING=1\r\nend")
    assert manager.heard() == [["STATUS=bad STOPPING=1 end"]]
