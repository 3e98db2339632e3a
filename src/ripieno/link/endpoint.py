"""Where a daemon listens, and the way to it: a socket that nobody but its user can reach.

The socket lies in the runtime folder, 0700, as `control.sock`, 0600. Where Unix sockets do not
exist (Windows), the daemon listens on the loopback address; `control.json` in the same folder
has its port, and a token that only who can read the file knows.

Before anything there is trusted it is looked at: a folder or a file that another user owns, that
is a symbolic link, or that others may change is refused.
"""

import json
import os
import socket
import stat
import sys
import time
import warnings
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import NoReturn

from platformdirs import user_runtime_path

from ripieno.errors import MachineError

VARIABLE = "RIPIENO_RUNTIME"
LOOPBACK = "127.0.0.1"
SOUNDING = "sounding"  # the file in the runtime folder of what the instrument sounds
# Bytes of a socket's path without its closing zero: unix(7) has 108 with it, macOS's <sys/un.h>
# 104 (from memory).
MOST_PATH_BYTES = 107 if sys.platform == "linux" else 103

_MOST_FILE_BYTES = 4096  # of control.json, which has some 80
_AGAIN_S = 0.01
_CHANGED_BY_OTHERS = 0o022
_ENTERED_BY_OTHERS = 0o033


class Kind(StrEnum):
    UNIX = "unix"
    LOOPBACK = "loopback"


class NoDaemonError(MachineError):
    """Nobody listens there."""

    def __init__(self) -> None:
        super().__init__("no daemon is running; start one with 'ripieno serve'")


@dataclass(frozen=True, slots=True)
class Connection:
    """A connected socket; `token` is what its first line must have, None for none."""

    socket: socket.socket
    token: str | None


@dataclass(frozen=True, slots=True)
class Endpoint:
    """A daemon's address: the folder it keeps its files in, and how it is reached."""

    folder: Path
    kind: Kind

    @property
    def path(self) -> Path:
        """The socket, or the file that says where it is."""
        return self.folder / ("control.sock" if self.kind is Kind.UNIX else "control.json")

    def connect(self, timeout_s: float) -> Connection:
        """Raises NoDaemonError, or MachineError for a place that cannot be trusted or is stuck.

        The timeout stays on the socket.
        """
        check_folder(self.folder)
        if self.kind is Kind.UNIX:
            check_length(self.path)
            check_private(self.path, stat.S_IFSOCK)
            return Connection(_connected(socket.AF_UNIX, str(self.path), timeout_s), None)
        check_private(self.path, stat.S_IFREG)
        port, token = _port_and_token(self.path)
        return Connection(_connected(socket.AF_INET, (LOOPBACK, port), timeout_s), token)


def own_endpoint() -> Endpoint:
    """The endpoint of this user's daemon, whether one is there or not. Raises MachineError."""
    has_unix = hasattr(socket, "AF_UNIX") and sys.platform != "win32"
    return Endpoint(_named_folder(), Kind.UNIX if has_unix else Kind.LOOPBACK)


def runtime_folder() -> Path:
    """The folder of this user's daemon, made if need be. Raises MachineError."""
    return made_folder(_named_folder())


def made_folder(folder: Path) -> Path:
    """The same folder, made with the mode 0700 if need be. Raises MachineError."""
    try:
        for part in reversed([folder, *folder.parents]):
            if not part.exists():
                part.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise MachineError(
            f"cannot make the folder {folder}: {error.strerror}; set {VARIABLE} to another"
        ) from None
    check_folder(folder)
    return folder


def check_folder(folder: Path) -> None:
    """Raises MachineError unless it is a folder of ours that nobody else can come into.

    So must the folder above be, but that it may be open: who owns it could exchange ours.
    Raises NoDaemonError if it does not exist.
    """
    found = _looked_at(folder)
    _check_kind(folder, found, stat.S_IFDIR)
    _check_owner(folder, found, above=False)
    _check_modes(folder, found, _ENTERED_BY_OTHERS)
    above = folder.resolve().parent
    found = _looked_at(above)
    _check_owner(above, found, above=True)
    if not found.st_mode & stat.S_ISVTX:
        _check_modes(above, found, stat.S_IWOTH)


def check_private(path: Path, kind: int) -> None:
    """Raises MachineError unless it is a file of that kind and ours; NoDaemonError without it."""
    found = _looked_at(path)
    _check_kind(path, found, kind)
    _check_owner(path, found, above=False)
    _check_modes(path, found, _CHANGED_BY_OTHERS)


def check_length(path: Path) -> None:
    """Raises MachineError for a path that no socket can have."""
    length = len(os.fsencode(path))
    if length > MOST_PATH_BYTES:
        raise MachineError(
            f"the path {path} has {length} bytes, and a socket's at most {MOST_PATH_BYTES}; "
            f"set {VARIABLE} to a folder with a shorter one"
        )


def _named_folder() -> Path:
    named = os.environ.get(VARIABLE)
    if named:
        if not os.path.isabs(named):
            raise MachineError(f"{VARIABLE} is '{named}'; expected a path from the root, as /run/x")
        return Path(named)
    with warnings.catch_warnings():  # that there is no XDG_RUNTIME_DIR is no news to a player
        warnings.simplefilter("ignore")
        try:
            return user_runtime_path("ripieno", appauthor=False)
        except OSError as error:
            raise MachineError(
                f"there is no folder for the control socket: {error}; set {VARIABLE} to one"
            ) from None


def _looked_at(path: Path) -> os.stat_result:
    try:
        return path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        raise NoDaemonError from None
    except OSError as error:
        raise MachineError(f"cannot look at {path}: {error.strerror}") from None


def _check_kind(path: Path, found: os.stat_result, kind: int) -> None:
    if stat.S_IFMT(found.st_mode) == kind:
        return
    wanted = {stat.S_IFDIR: "folder", stat.S_IFSOCK: "socket", stat.S_IFREG: "plain file"}[kind]
    what = "a symbolic link" if stat.S_ISLNK(found.st_mode) else f"no {wanted}"
    _distrust(path, f"{what}; expected a {wanted}")


def _check_owner(path: Path, found: os.stat_result, *, above: bool) -> None:
    """Windows has no such owners: there the folder lies in the user's profile."""
    if sys.platform == "win32":
        return
    if found.st_uid != os.getuid() and not (above and found.st_uid == 0):
        _distrust(path, f"owned by user {found.st_uid}; expected user {os.getuid()}")


def _check_modes(path: Path, found: os.stat_result, forbidden: int) -> None:
    if sys.platform == "win32":
        return
    mode = stat.S_IMODE(found.st_mode)
    if mode & forbidden:
        _distrust(path, f"open to other users (mode {mode:04o}); 'chmod go-rwx' shuts it to them")


def _distrust(path: Path, why: str) -> NoReturn:
    raise MachineError(f"{path} is {why}; mend that, or set {VARIABLE} to another folder")


def _connected(family: int, address: str | tuple[str, int], timeout_s: float) -> socket.socket:
    """Waits while the daemon's row of those who wait is full (EAGAIN, unix(7) and connect(2))."""
    give_up = time.monotonic() + timeout_s
    while True:
        link = socket.socket(family, socket.SOCK_STREAM)
        link.settimeout(timeout_s)
        try:
            link.connect(address)
        except (ConnectionRefusedError, FileNotFoundError):
            link.close()
            raise NoDaemonError from None
        except BlockingIOError:
            link.close()
            if time.monotonic() > give_up:
                raise MachineError(_STUCK) from None
            time.sleep(_AGAIN_S)
        except TimeoutError:
            link.close()
            raise MachineError(_STUCK) from None
        except OSError as error:
            link.close()
            raise MachineError(f"cannot reach the daemon: {error.strerror}") from None
        else:
            return link


_STUCK = "the daemon does not answer; end it and start it again"


def _port_and_token(path: Path) -> tuple[int, str]:
    try:
        with path.open("rb") as file:
            data = json.loads(file.read(_MOST_FILE_BYTES).decode("utf-8"))
    except FileNotFoundError:
        raise NoDaemonError from None
    except OSError as error:
        raise MachineError(f"cannot read {path}: {error.strerror}") from None
    except (ValueError, RecursionError):
        data = None
    match data:
        case {"port": int(port), "token": str(token)} if 0 < port < 65536:
            return port, token
    raise MachineError(f"{path} has no port and token; remove it and start the daemon again")
