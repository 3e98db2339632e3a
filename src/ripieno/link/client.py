"""A client that waits: for a command line, or any program that asks now and then.

with Client(own_endpoint()) as client:
    client.tell(["tempo", "94"])
"""

import socket
import time
from collections.abc import Iterator, Sequence
from typing import Self

from ripieno.errors import AuthorError, MachineError, RipienoError
from ripieno.link.endpoint import Endpoint
from ripieno.wire.lines import (
    Code,
    Done,
    Failed,
    Hello,
    LineBuffer,
    LineError,
    Push,
    Request,
    hello_from,
    hello_line,
    reply_from,
    request_line,
)
from ripieno.wire.status import Status

CONNECT_S = 2.0
ANSWER_S = 15.0  # a daemon whose engine is being replaced takes up to five seconds for a status

_PIECE = 64 * 1024


class Client:
    """Connected from `connect`, or the beginning of the context, to `close`.

    Every call raises MachineError when the daemon is not there, gone or stuck, and after
    `answer_s` at the latest. Not for several threads at once.
    """

    def __init__(self, endpoint: Endpoint, answer_s: float = ANSWER_S) -> None:
        self._endpoint = endpoint
        self._answer_s = answer_s
        self._lines = LineBuffer()
        self._socket: socket.socket | None = None
        self._number = 0
        self.program = ""  # the daemon's version, once connected

    def connect(self) -> None:
        """Raises MachineError, also for a daemon of another protocol."""
        connection = self._endpoint.connect(CONNECT_S)
        self._socket, self._lines = connection.socket, LineBuffer()
        try:
            self._send(hello_line(Hello(token=connection.token)))
            self.program = hello_from(self._line(self._give_up())).program
        except LineError as fault:
            self.close()
            raise unreadable(fault) from None
        except MachineError:
            self.close()
            raise

    def tell(self, words: Sequence[str]) -> dict[str, object]:
        """The result of a command. Raises AuthorError if it is refused."""
        self._number += 1
        self._send(request_line(Request(self._number, tuple(words))))
        give_up = self._give_up()
        while True:
            match self._reply(give_up):
                case Done(id, result) if id == self._number:
                    return result
                case Failed(id, code, message) if id in (self._number, None):
                    raise refusal(code, message)

    def watch(self) -> Iterator[Status]:
        """Each status that the daemon pushes, the first at once; there is one each second."""
        self.tell(["watch"])
        while True:
            match self._reply(self._give_up()):
                case Push(status):
                    yield status
                case Failed(_, code, message):
                    raise refusal(code, message)

    def close(self) -> None:
        """May be called again."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def __enter__(self) -> Self:
        self.connect()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _give_up(self) -> float:
        return time.monotonic() + self._answer_s

    def _send(self, line: bytes) -> None:
        """What cannot be sent for the daemon has closed may have an answer that says why."""
        assert self._socket is not None, "connect first"
        try:
            self._socket.settimeout(self._answer_s)
            self._socket.sendall(line)
        except TimeoutError:
            raise stuck() from None
        except (BrokenPipeError, ConnectionResetError):
            pass
        except OSError as error:
            raise MachineError(f"cannot reach the daemon: {error.strerror}") from None

    def _reply(self, give_up: float) -> Done | Failed | Push:
        try:
            return reply_from(self._line(give_up))
        except LineError as fault:
            raise unreadable(fault) from None

    def _line(self, give_up: float) -> bytes:
        assert self._socket is not None, "connect first"
        while (line := self._lines.next_line()) is None:
            left = give_up - time.monotonic()
            if left <= 0:
                raise stuck()
            try:
                self._socket.settimeout(left)
                data = self._socket.recv(_PIECE)
            except TimeoutError:
                raise stuck() from None
            except OSError:
                data = b""
            if not data:
                raise gone()
            self._lines.feed(data)
        return line


def refusal(code: Code, message: str) -> RipienoError:
    """The error that a failed request is."""
    wrong = {Code.MACHINE, Code.VERSION}
    return MachineError(message) if code in wrong else AuthorError(message)


def stuck() -> MachineError:
    return MachineError("the daemon does not answer; end it and start it again")


def gone() -> MachineError:
    return MachineError("the daemon has closed the connection; see whether it still runs")


def unreadable(fault: LineError) -> MachineError:
    """What the daemon wrote is none of the protocol's."""
    return MachineError(f"the daemon is not understood: {fault}")
