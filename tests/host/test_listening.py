"""One daemon in one place, and nothing left of it but the lock's file."""

import json
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path
from stat import S_IMODE

import pytest

from control_rig import dead_socket
from ripieno.errors import MachineError
from ripieno.host.listening import Listener
from ripieno.link.endpoint import Endpoint, Kind, made_folder

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Unix sockets, owners and modes")

HOLDS = """
import sys
from pathlib import Path
from ripieno.host.listening import Listener
from ripieno.link.endpoint import Endpoint, Kind
listener = Listener(Endpoint(Path(sys.argv[1]), Kind(sys.argv[2])))
print("ready", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made_folder(tmp_path / "run")


def holder(endpoint: Endpoint) -> "subprocess.Popen[str]":
    """Another process that listens there."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDS, endpoint.folder, endpoint.kind],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout.readline() == "ready\n"
    return process


def refusal(endpoint: Endpoint) -> str:
    with pytest.raises(MachineError) as error:
        Listener(endpoint)
    assert "\n" not in str(error.value)
    return str(error.value)


@pytest.mark.parametrize("umask", [0, 0o022, 0o077])
@pytest.mark.parametrize("kind", Kind)
def test_files_are_ours_alone_whatever_the_umask(tmp_path: Path, kind: Kind, umask: int) -> None:
    endpoint = Endpoint(tmp_path / "run", kind)
    before = os.umask(umask)
    try:
        with Listener(endpoint):
            modes = {p.name: S_IMODE(p.lstat().st_mode) for p in endpoint.folder.iterdir()}
    finally:
        os.umask(before)
    assert S_IMODE(endpoint.folder.stat().st_mode) == 0o700
    assert modes == {endpoint.path.name: 0o600, "daemon.lock": 0o600}


@pytest.mark.parametrize("kind", Kind)
def test_closing_takes_the_way_in_away_and_lets_the_next_one_begin(
    tmp_path: Path, kind: Kind
) -> None:
    endpoint = Endpoint(tmp_path / "run", kind)
    for _ in range(2):
        listener = Listener(endpoint)
        endpoint.connect(1).socket.close()
        listener.close()
        listener.close()
        assert [path.name for path in endpoint.folder.iterdir()] == ["daemon.lock"]


@pytest.mark.parametrize("kind", Kind)
def test_a_second_daemon_is_refused_and_the_first_goes_on(folder: Path, kind: Kind) -> None:
    endpoint = Endpoint(folder, kind)
    with holder(endpoint) as first:
        said = refusal(endpoint)
        assert said.startswith(("a daemon is running already at", "another daemon has"))
        endpoint.connect(1).socket.close()
        first.stdin.close()


def test_a_daemon_whose_socket_was_taken_away_still_holds_the_place(folder: Path) -> None:
    endpoint = Endpoint(folder, Kind.UNIX)
    with holder(endpoint) as first:
        endpoint.path.unlink()
        said = f"another daemon has {folder / 'daemon.lock'} (process {first.pid}); end it first"
        assert refusal(endpoint) == said
        first.stdin.close()


@pytest.mark.parametrize("kind", Kind)
def test_what_a_killed_daemon_left_is_taken_over(folder: Path, kind: Kind) -> None:
    endpoint = Endpoint(folder, kind)
    with holder(endpoint) as first:
        first.send_signal(signal.SIGKILL)
        first.wait()
        assert endpoint.path.exists()
        with Listener(endpoint):
            endpoint.connect(1).socket.close()
        first.stdin.close()


def test_a_stale_socket_is_taken_over(folder: Path) -> None:
    dead_socket(folder / "control.sock")
    (folder / "control.sock").chmod(0o600)
    with Listener(Endpoint(folder, Kind.UNIX)):
        Endpoint(folder, Kind.UNIX).connect(1).socket.close()


def test_what_is_no_socket_is_not_removed(folder: Path) -> None:
    (folder / "control.sock").write_text("precious")
    assert "is no socket" in refusal(Endpoint(folder, Kind.UNIX))
    assert (folder / "control.sock").read_text() == "precious"


def test_a_lock_that_is_a_symbolic_link_is_not_followed(tmp_path: Path, folder: Path) -> None:
    (tmp_path / "precious").write_text("x")
    (folder / "daemon.lock").symlink_to(tmp_path / "precious")
    assert f"cannot open {folder / 'daemon.lock'}" in refusal(Endpoint(folder, Kind.UNIX))
    assert (tmp_path / "precious").read_text() == "x"


def test_a_lock_that_is_a_pipe_stops_nobody(folder: Path) -> None:
    os.mkfifo(folder / "daemon.lock")
    assert "is no plain file" in refusal(Endpoint(folder, Kind.UNIX))


def test_a_path_that_is_too_long_leaves_no_lock_held(tmp_path: Path) -> None:
    endpoint = Endpoint(tmp_path / ("x" * 110), Kind.UNIX)
    for _ in range(2):
        assert "set RIPIENO_RUNTIME to a folder with a shorter one" in refusal(endpoint)


def test_a_socket_that_somebody_put_in_our_place_is_left_there(folder: Path) -> None:
    listener = Listener(Endpoint(folder, Kind.UNIX))
    (folder / "control.sock").unlink()
    dead_socket(folder / "control.sock")
    listener.close()
    assert (folder / "control.sock").exists()


def test_each_start_has_a_token_of_its_own_and_listens_to_this_machine_only(folder: Path) -> None:
    endpoint, tokens = Endpoint(folder, Kind.LOOPBACK), set()
    for _ in range(2):
        with Listener(endpoint) as listener:
            host, port = listener.socket.getsockname()
            assert (host, listener.socket.family) == ("127.0.0.1", socket.AF_INET)
            written = json.loads(endpoint.path.read_text())
            assert written == {"port": port, "token": listener.token}
            tokens.add(listener.token)
    assert len(tokens) == 2
    assert min(map(len, tokens)) >= 40
