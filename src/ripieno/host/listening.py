"""The daemon's place: one daemon at a time, a socket that it alone has made, gone when it ends."""

import json
import os
import secrets
import socket
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from stat import S_IFSOCK, S_ISREG
from typing import Self

from ripieno.errors import MachineError
from ripieno.link.endpoint import (
    LOOPBACK,
    Endpoint,
    Kind,
    NoDaemonError,
    check_length,
    check_private,
    made_folder,
)

_BACKLOG = 128  # who waits to be let in; Linux allows 4096 (net.core.somaxconn)
_PROBE_S = 1.0
_LONGEST_PID = 20


class Listener:
    """A listening socket in a place of its own, until `close`. `token` is what a client must say.

    Between two daemons that start at once a lock on `daemon.lock` decides. The kernel drops it
    with the process, however that ends, so it is never left behind as a file would be.
    """

    def __init__(self, endpoint: Endpoint) -> None:
        """Raises MachineError if the place is not safe, or another daemon has it."""
        made_folder(endpoint.folder)
        _refuse_second(endpoint)
        self._path = endpoint.path
        self._lock = _locked(endpoint.folder / "daemon.lock")
        try:
            self.socket, self.token = _bound(endpoint)
            self._made = _identity(self._path)
        except OSError as error:
            os.close(self._lock)
            raise MachineError(f"cannot listen at {self._path}: {error.strerror}") from None
        except MachineError:
            os.close(self._lock)
            raise

    def close(self) -> None:
        """The file goes before the socket and the lock, so no client finds a dead one."""
        if self._lock < 0:
            return
        with suppress(OSError):  # somebody has cleared the folder, or put another file there
            if _identity(self._path) == self._made:
                self._path.unlink()
        self.socket.close()
        os.close(self._lock)
        self._lock = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


@dataclass(frozen=True, slots=True)
class _Identity:
    device: int
    inode: int


def _identity(path: Path) -> _Identity:
    found = path.lstat()
    return _Identity(found.st_dev, found.st_ino)


def _refuse_second(endpoint: Endpoint) -> None:
    """asyncio would take the path over from a daemon that runs, and leave it deaf.

    On the loopback address the lock alone decides: another program may have the old port by now.
    """
    if endpoint.kind is Kind.LOOPBACK:
        return
    with suppress(NoDaemonError):
        endpoint.connect(_PROBE_S).socket.close()
        raise MachineError(
            f"a daemon is running already at {endpoint.path}; end it first, or tell it with "
            "'ripieno tell'"
        )


def _locked(path: Path) -> int:
    """The file's descriptor, which holds the lock."""
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        lock = os.open(path, flags, 0o600)
    except OSError as error:
        raise MachineError(f"cannot open {path}: {error.strerror}") from None
    if not S_ISREG(os.fstat(lock).st_mode):
        os.close(lock)
        raise MachineError(f"{path} is no plain file; remove it")
    try:
        _lock(lock)
    except OSError:
        holder = _holder(lock)
        os.close(lock)
        raise MachineError(f"another daemon has {path} ({holder}); end it first") from None
    _sign(lock)
    return lock


def _holder(lock: int) -> str:
    with suppress(OSError):  # Windows lets nobody read what is locked
        text = os.read(lock, _LONGEST_PID).decode("ascii", "replace").strip()
        if text.isdecimal():
            return f"process {text}"
    return "process unknown"


def _sign(lock: int) -> None:
    """Who holds the lock, for the message to who does not get it; a full disk may prevent it."""
    with suppress(OSError):
        os.ftruncate(lock, 0)
        os.write(lock, b"%d\n" % os.getpid())


def _lock(descriptor: int) -> None:
    """Raises OSError if another process has the lock."""
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _bound(endpoint: Endpoint) -> tuple[socket.socket, str | None]:
    """Called with the lock held. Raises OSError, MachineError."""
    if endpoint.kind is Kind.LOOPBACK:
        return _bound_to_loopback(endpoint.path)
    path = endpoint.path
    check_length(path)
    with suppress(NoDaemonError):
        check_private(path, S_IFSOCK)
        path.unlink()  # nobody listens there, and whoever could holds the lock: we do
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        os.fchmod(listener.fileno(), 0o600)  # Linux gives the file the mode that the socket has
        listener.bind(str(path))
        path.chmod(0o600)  # elsewhere; nobody can connect before `listen`
        listener.listen(_BACKLOG)
    except OSError:
        listener.close()
        raise
    return listener, None


def _bound_to_loopback(path: Path) -> tuple[socket.socket, str]:
    token = secrets.token_urlsafe(32)
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.bind((LOOPBACK, 0))
        listener.listen(_BACKLOG)
        _write_privately(path, {"port": listener.getsockname()[1], "token": token})
    except OSError:
        listener.close()
        raise
    return listener, token


def _write_privately(path: Path, data: dict[str, object]) -> None:
    """Whole or not at all, and nobody else's at any time."""
    new = path.with_suffix(".new")
    new.unlink(missing_ok=True)
    with open(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        json.dump(data, file)
    new.replace(path)
