"""Where a daemon is looked for, and the places that are not trusted."""

import json
import os
import socket
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest

from control_rig import dead_socket, other_user
from ripieno.errors import MachineError
from ripieno.link.endpoint import (
    MOST_PATH_BYTES,
    Endpoint,
    Kind,
    NoDaemonError,
    made_folder,
    own_endpoint,
    runtime_folder,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Unix sockets, owners and modes")
as_root = pytest.mark.skipif(os.getuid() != 0, reason="only root gives files away")
CONNECT_S = 5.0


def listening(path: Path) -> socket.socket:
    server = socket.socket(socket.AF_UNIX)
    server.bind(str(path))
    path.chmod(0o600)
    server.listen(1)
    return server


def refusal(endpoint: Endpoint) -> str:
    with pytest.raises(MachineError) as error:
        endpoint.connect(CONNECT_S)
    assert not isinstance(error.value, NoDaemonError)
    assert "\n" not in str(error.value)
    return str(error.value)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made_folder(tmp_path / "run")


def test_the_folder_is_in_the_users_runtime_folder(tmp_path: Path, monkeypatch) -> None:
    tmp_path.chmod(0o700)
    monkeypatch.delenv("RIPIENO_RUNTIME", raising=False)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    assert own_endpoint() == Endpoint(tmp_path / "ripieno", Kind.UNIX)
    assert own_endpoint().path == tmp_path / "ripieno" / "control.sock"
    assert not (tmp_path / "ripieno").exists()  # who only asks makes nothing


def test_the_variable_names_another_folder_which_is_made_for_us_alone(
    tmp_path: Path, monkeypatch
) -> None:
    monkeypatch.setenv("RIPIENO_RUNTIME", str(tmp_path / "a" / "b"))
    assert runtime_folder() == tmp_path / "a" / "b"
    assert [path.stat().st_mode & 0o777 for path in (tmp_path / "a", tmp_path / "a/b")] == [
        0o700
    ] * 2
    assert runtime_folder() == tmp_path / "a" / "b"


def test_the_variable_must_be_a_path_from_the_root(monkeypatch) -> None:
    monkeypatch.setenv("RIPIENO_RUNTIME", "run")
    with pytest.raises(MachineError, match="RIPIENO_RUNTIME is 'run'; expected a path from the"):
        own_endpoint()


@pytest.mark.filterwarnings("error")
def test_without_a_runtime_folder_of_the_system_there_is_one_and_no_warning(monkeypatch) -> None:
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    monkeypatch.delenv("RIPIENO_RUNTIME", raising=False)
    assert own_endpoint().folder.is_absolute()


@pytest.mark.parametrize("kind", Kind)
def test_no_folder_and_no_file_are_no_daemon(tmp_path: Path, folder: Path, kind: Kind) -> None:
    for place in (tmp_path / "none" / "at" / "all", folder):
        with pytest.raises(NoDaemonError, match="start one with 'ripieno serve'"):
            Endpoint(place, kind).connect(CONNECT_S)


def test_a_socket_that_nobody_listens_on_is_no_daemon(folder: Path) -> None:
    dead_socket(folder / "control.sock")
    (folder / "control.sock").chmod(0o600)
    with pytest.raises(NoDaemonError):
        Endpoint(folder, Kind.UNIX).connect(CONNECT_S)


def test_who_listens_is_reached(folder: Path) -> None:
    with listening(folder / "control.sock"):
        connection = Endpoint(folder, Kind.UNIX).connect(CONNECT_S)
        assert connection.token is None
        connection.socket.close()


def test_a_daemon_that_lets_nobody_in_is_waited_for_and_then_given_up(folder: Path) -> None:
    endpoint = Endpoint(folder, Kind.UNIX)
    with listening(endpoint.path), ExitStack() as stack:
        for _ in range(2):  # Linux has room for one more than was asked for
            stack.enter_context(endpoint.connect(CONNECT_S).socket)
        with pytest.raises(MachineError, match="the daemon does not answer"):
            endpoint.connect(0.01)


@pytest.mark.parametrize("mode", [0o710, 0o701, 0o720, 0o702, 0o777])
def test_a_folder_that_others_may_enter_or_change_is_refused(folder: Path, mode: int) -> None:
    folder.chmod(mode)
    said = f"{folder} is open to other users (mode 0{mode:o}); 'chmod go-rwx' shuts it"
    assert said in refusal(Endpoint(folder, Kind.UNIX))
    with pytest.raises(MachineError, match="open to other users"):
        made_folder(folder)


def test_a_folder_that_is_a_symbolic_link_is_refused(tmp_path: Path, folder: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(folder)
    assert "is a symbolic link; expected a folder" in refusal(Endpoint(link, Kind.UNIX))
    with pytest.raises(MachineError, match="symbolic link"):
        made_folder(link)


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "run").touch()
    for place, said in (("run", "is no folder"), ("run/in", "cannot make the folder")):
        with pytest.raises(MachineError, match=said):
            made_folder(tmp_path / place)


@as_root
def test_a_folder_of_another_user_is_refused(folder: Path) -> None:
    other_user(folder)
    assert f"{folder} is owned by user 65534; expected user 0" in refusal(
        Endpoint(folder, Kind.UNIX)
    )


@as_root
def test_a_folder_inside_another_users_is_refused(tmp_path: Path, folder: Path) -> None:
    other_user(tmp_path)
    assert f"{tmp_path} is owned by user 65534" in refusal(Endpoint(folder, Kind.UNIX))


def test_a_folder_in_one_that_all_may_change_is_refused_unless_it_is_sticky(
    tmp_path: Path, folder: Path
) -> None:
    tmp_path.chmod(0o777)
    assert f"{tmp_path} is open to other users" in refusal(Endpoint(folder, Kind.UNIX))
    tmp_path.chmod(0o1777)
    with pytest.raises(NoDaemonError):
        Endpoint(folder, Kind.UNIX).connect(CONNECT_S)


def test_a_socket_that_is_a_symbolic_link_is_refused(tmp_path: Path, folder: Path) -> None:
    with listening(tmp_path / "theirs"):
        (folder / "control.sock").symlink_to(tmp_path / "theirs")
        assert "is a symbolic link; expected a socket" in refusal(Endpoint(folder, Kind.UNIX))


def test_a_socket_that_others_may_write_to_is_refused(folder: Path) -> None:
    with listening(folder / "control.sock"):
        (folder / "control.sock").chmod(0o666)
        assert "is open to other users (mode 0666)" in refusal(Endpoint(folder, Kind.UNIX))


@as_root
def test_a_socket_of_another_user_is_refused(folder: Path) -> None:
    with listening(folder / "control.sock"):
        other_user(folder / "control.sock")
        assert "owned by user 65534" in refusal(Endpoint(folder, Kind.UNIX))


def test_a_file_that_is_no_socket_is_refused(folder: Path) -> None:
    (folder / "control.sock").touch(mode=0o600)
    assert "is no socket" in refusal(Endpoint(folder, Kind.UNIX))


def test_a_path_that_is_too_long_for_a_socket_says_what_to_do(tmp_path: Path) -> None:
    deep = made_folder(tmp_path / ("x" * MOST_PATH_BYTES))
    said = refusal(Endpoint(deep, Kind.UNIX))
    assert f"a socket's at most {MOST_PATH_BYTES}; set RIPIENO_RUNTIME to a folder with a" in said


def test_the_longest_path_is_one_that_the_system_takes(tmp_path: Path) -> None:
    free = MOST_PATH_BYTES - len(os.fsencode(tmp_path / "d" / "control.sock"))
    if free < 0:
        pytest.skip("the tests' own folder is too deep")
    deep = made_folder(tmp_path / ("d" * (free + 1)))
    with listening(deep / "control.sock"):
        Endpoint(deep, Kind.UNIX).connect(CONNECT_S).socket.close()


@pytest.mark.parametrize(
    "content",
    ["", "{}", "[]", '{"port": 1}', '{"port": "1", "token": "t"}', '{"port": 0, "token": "t"}',
     '{"port": 65536, "token": "t"}', "[" * 4096, "x" * 9999],
    ids=lambda content: content[:30],
)  # fmt: skip
def test_a_file_without_port_and_token_says_what_to_do(folder: Path, content: str) -> None:
    path = folder / "control.json"
    path.write_text(content)
    path.chmod(0o600)
    assert f"{path} has no port and token; remove it" in refusal(Endpoint(folder, Kind.LOOPBACK))


def test_a_port_that_nobody_listens_on_is_no_daemon(folder: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        path = folder / "control.json"
        path.write_text(json.dumps({"port": free.getsockname()[1], "token": "t"}))
        path.chmod(0o600)
        with pytest.raises(NoDaemonError):
            Endpoint(folder, Kind.LOOPBACK).connect(CONNECT_S)
