"""The client that waits, with the real server and with peers that are none."""

import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from threading import Thread

import pytest

from control_rig import STATUS, Fake, serving
from ripieno import __version__
from ripieno.errors import AuthorError, MachineError
from ripieno.host.listening import Listener
from ripieno.link.client import Client
from ripieno.link.endpoint import Endpoint, Kind, NoDaemonError
from ripieno.wire.command import ChooseStyle
from ripieno.wire.lines import Hello, LineError, hello_line

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Unix sockets, owners and modes")

HELLO = hello_line(Hello())
SOON_S = 0.05  # for a peer that never answers, so that the test need not wait long


@contextmanager
def peer(folder: Path, speak: Callable[[socket.socket], object]) -> Iterator[Endpoint]:
    """Something that listens there and does this with the first who comes."""
    endpoint = Endpoint(folder / "run", Kind.UNIX)

    def serve(listening: socket.socket) -> None:
        connection, _ = listening.accept()
        with connection, suppress(ConnectionError):
            speak(connection)

    with Listener(endpoint) as listener:
        thread = Thread(target=serve, args=(listener.socket,), daemon=True)
        thread.start()
        yield endpoint
        thread.join()


def says(data: bytes) -> Callable[[socket.socket], object]:
    """A peer that says this, and listens until it is left."""

    def speak(connection: socket.socket) -> None:
        connection.sendall(data)
        while connection.recv(1024):
            pass

    return speak


def told_to(endpoint: Endpoint, answer_s: float = 30.0) -> str:
    """What the error says of telling it something."""
    with pytest.raises(MachineError) as error, Client(endpoint, answer_s) as client:
        client.tell(["tap"])
    assert str(error.value).isprintable()
    return str(error.value)


@pytest.mark.parametrize("kind", Kind)
def test_it_tells_and_is_answered(tmp_path: Path, kind: Kind) -> None:
    with serving(tmp_path, kind=kind) as served, Client(served.endpoint) as client:
        assert client.program == __version__
        assert client.tell(["style", "waltz"]) == {"told": ["style", "waltz"]}
        assert client.tell(["tempo", "94"]) == {"bpm": 94.0}
        assert served.fake.told[0] == ChooseStyle("waltz")


@pytest.mark.parametrize(
    "error", [AuthorError("no such style"), MachineError("the engine is lost")]
)
def test_a_refusal_is_the_error_that_the_host_raised(tmp_path: Path, error: Exception) -> None:
    with serving(tmp_path, Fake(error=error)) as served, Client(served.endpoint) as client:
        with pytest.raises(type(error), match=str(error)):
            client.tell(["tap"])
        with pytest.raises(AuthorError, match="did you mean tempo"):
            client.tell(["tempi"])
        served.fake.error = None
        assert client.tell(["tap"]) == {"told": ["tap"]}


def test_words_that_no_line_can_hold_are_refused_before_they_are_sent(tmp_path: Path) -> None:
    with serving(tmp_path) as served, Client(served.endpoint) as client:
        with pytest.raises(LineError, match="at most 65536"):
            client.tell(["x" * 70_000])
        assert client.tell(["tap"]) == {"told": ["tap"]}


def test_watching_shows_what_changes_and_telling_goes_on_beside_it(tmp_path: Path) -> None:
    with serving(tmp_path) as served, Client(served.endpoint) as client:
        statuses = client.watch()
        assert next(statuses) == STATUS
        assert client.tell(["tempo", "100"]) == {"bpm": 100.0}
        assert replace(STATUS, bpm=100.0) in (next(statuses), next(statuses))


@pytest.mark.parametrize("kind", Kind)
def test_without_a_daemon_it_says_how_to_begin_one(tmp_path: Path, kind: Kind) -> None:
    with pytest.raises(NoDaemonError, match="no daemon is running; start one with 'ripieno serve'"):
        Client(Endpoint(tmp_path / "run", kind)).connect()


def test_a_daemon_that_ends_is_told_in_one_line(tmp_path: Path) -> None:
    with serving(tmp_path) as served:
        client = Client(served.endpoint)
        client.connect()
    for _ in range(2):
        with pytest.raises(MachineError, match="the daemon has closed the connection"):
            client.tell(["tap"])
    client.close()
    client.close()


def test_another_protocol_is_one_clear_line(tmp_path: Path) -> None:
    with peer(tmp_path, says(hello_line(Hello(2, "9.9")))) as endpoint:
        said = told_to(endpoint)
    assert "the other side speaks protocol 2 (ripieno '9.9'), this one 1" in said


def test_a_token_that_has_changed_is_told_by_the_daemon(tmp_path: Path) -> None:
    with serving(tmp_path, kind=Kind.LOOPBACK) as served:
        path = served.endpoint.path
        path.write_text(path.read_text().replace('"token": "', '"token": "x'))
        with pytest.raises(AuthorError, match="not the token"), Client(served.endpoint) as client:
            client.tell(["tap"])


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "the daemon does not answer"),
        (b"SSH-2.0\n", "the daemon is not understood"),
        (b"x" * 70_000, "the daemon is not understood: a line is longer"),
        (HELLO, "the daemon does not answer"),
        (HELLO + b'{"id": 1, "done"', "the daemon does not answer"),
        (HELLO + b'{"id": 2, "done": {}}\n', "the daemon does not answer"),
        (HELLO + b'{"id": 1, "done": []}\n', "no answer and no status"),
        (HELLO + b'{"status": {}}\n', "the status has no 'style'"),
    ],
    ids=lambda value: ascii(value[:60]),
)
def test_a_daemon_that_is_none_is_told_in_one_line(tmp_path: Path, data: bytes, said: str) -> None:
    with peer(tmp_path, says(data)) as endpoint:
        assert said in told_to(endpoint, SOON_S)


@pytest.mark.parametrize("data", [b"", HELLO[:9], HELLO])
def test_a_daemon_that_hangs_up_is_told_in_one_line(tmp_path: Path, data: bytes) -> None:
    with peer(tmp_path, lambda connection: connection.sendall(data)) as endpoint:
        assert "has closed the connection" in told_to(endpoint)
