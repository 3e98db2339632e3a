"""Telling the service manager how the program is: sd_notify(3) and sd_watchdog_enabled(3).

The protocol is a datagram of `NAME=value` lines to the socket that the environment names, so it
needs no library. Without a service manager nothing is sent.
"""

import os
import socket
import time
from collections.abc import Mapping
from contextlib import suppress
from threading import Lock

# systemd drops a datagram over 4096 bytes whole (from memory); UTF-8 takes four a character.
_MOST_CHARACTERS = 900


class Notifier:
    """Says to the service manager what state the program is in. Any thread may call it.

    No call waits or raises. What the manager does not take, because it is gone for now or its
    queue is full, goes along with the next call: a lost READY would let the manager end a
    program that plays.
    """

    def __init__(self, address: str | None = None, watchdog_s: float | None = None) -> None:
        """`address` is a socket's path, or @ and an abstract name; None: there is no manager.

        `watchdog_s`: how often `alive` must be called, or None if nobody waits for it.
        """
        self.watchdog_s = watchdog_s
        self._address = None if address is None else _socket_address(address)
        self._owed: dict[str, str] = {}
        self._lock = Lock()

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> "Notifier":
        """As a service manager has set NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID."""
        address = environment.get("NOTIFY_SOCKET", "")
        if not address.startswith(("/", "@")):
            return cls()
        return cls(address, _watchdog_s(environment))

    def ready(self, status: str) -> None:
        """It plays, or would as soon as there is something to play on; also after `reloading`."""
        self._send({"READY": "1", "STATUS": _one_line(status)})

    def status(self, text: str) -> None:
        """How it is, in a sentence for people."""
        self._send({"STATUS": _one_line(text)})

    def reloading(self) -> None:
        """It takes over another configuration, until `ready`."""
        self._send({"RELOADING": "1", "MONOTONIC_USEC": str(time.monotonic_ns() // 1000)})

    def stopping(self) -> None:
        """It has begun to end."""
        self._send({"STOPPING": "1"})

    def alive(self) -> None:
        """It is not stuck. To be called every `watchdog_s`."""
        self._send({"WATCHDOG": "1"})

    def _send(self, said: dict[str, str]) -> None:
        if self._address is None:
            return
        with self._lock:
            if "READY" in said:  # what it was reloading is done
                self._owed.pop("RELOADING", None)
                self._owed.pop("MONOTONIC_USEC", None)
            self._owed |= said
            lines = "\n".join(f"{name}={value}" for name, value in self._owed.items())
            with (
                suppress(OSError),
                socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as datagrams,
            ):
                datagrams.setblocking(False)
                datagrams.sendto(lines.encode(errors="replace"), self._address)
                self._owed.clear()


def _socket_address(address: str) -> bytes:
    """An abstract name is written with @ and begins with a zero byte (sd_notify(3), unix(7))."""
    return os.fsencode(address.replace("@", "\0", 1) if address.startswith("@") else address)


def _watchdog_s(environment: Mapping[str, str]) -> float | None:
    """Half of the time that the manager allows, as sd_watchdog_enabled(3) recommends.

    None where it allows any time, or asks another process than this one.
    """
    allowed_us = environment.get("WATCHDOG_USEC", "")
    asked = environment.get("WATCHDOG_PID", str(os.getpid()))
    if not allowed_us.isdecimal() or int(allowed_us) == 0 or asked != str(os.getpid()):
        return None
    return int(allowed_us) / 2 / 1_000_000


def _one_line(text: str) -> str:
    """A newline would begin another assignment, and a zero byte make the manager drop it all."""
    return " ".join(text.replace("\0", " ").splitlines())[:_MOST_CHARACTERS]
