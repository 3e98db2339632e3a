"""Ports inside this program: for machines without a MIDI system, demonstrations and tests.

They have the methods and attributes of the real ports in `midi.ports`.
"""

import time
from collections import deque
from collections.abc import Callable
from typing import Self

from ripieno.perform.message import is_legal

Receive = Callable[[bytes, int], None]

KEPT = 100_000  # messages; hours of playing, and a bound for a daemon that runs without ports
_WHY = "it is in this program's memory"


class MemoryIn:
    """An input that plays what is given to `deliver`. What `receive` raises, `deliver` raises."""

    def __init__(self, name: str, receive: Receive) -> None:
        self.name, self.why = name, _WHY
        self.errors = 0
        self._receive: Receive | None = receive

    def deliver(self, data: bytes, at_ns: int) -> None:
        """Hand `data` on as if it had arrived at `at_ns`; after close it goes nowhere."""
        if self._receive is not None:
            self._receive(data, at_ns)

    def close(self) -> None:
        self._receive = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class MemoryOut:
    """An output whose other end is `receive`; the last KEPT messages stay in `sent`.

    `sent` holds pairs of the instant of sending (monotonic nanoseconds) and the bytes.
    """

    def __init__(self, name: str, receive: Receive | None = None) -> None:
        self.name, self.why = name, _WHY
        self.sent: deque[tuple[int, bytes]] = deque(maxlen=KEPT)
        self._receive = receive
        self._open = True

    def send(self, data: bytes) -> None:
        """Send one whole message. ValueError if it is none, or after close."""
        at_ns = time.monotonic_ns()
        if not self._open or not is_legal(data):
            raise ValueError(f"{self.name}: closed, or no whole MIDI message: {data.hex(' ')}")
        self.sent.append((at_ns, data))
        if self._receive is not None:
            self._receive(data, at_ns)

    def close(self) -> None:
        self._open = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
