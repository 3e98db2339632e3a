"""A client that never waits: for a screen that stays up while daemons come and go."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Self

from ripieno.errors import MachineError
from ripieno.link.client import ANSWER_S, CONNECT_S, gone, refusal, stuck, unreadable
from ripieno.link.endpoint import Endpoint
from ripieno.wire.lines import (
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

AGAIN_S = 0.5  # between two tries to connect; a new daemon is seen within a second

_PIECE = 64 * 1024


@dataclass(frozen=True, slots=True)
class Lost:
    """There is no daemon to speak to; `why` is a sentence."""

    why: str


class AsyncClient:
    """Connects, and connects again whenever the daemon has gone, until the context is left.

    `seen` is the newest status, or why there is none.
    """

    def __init__(self, endpoint: Endpoint, again_s: float = AGAIN_S) -> None:
        self._endpoint = endpoint
        self._again_s = again_s
        self.seen: Status | Lost = Lost("not connected yet")
        self._news = asyncio.Event()
        self._writer: asyncio.StreamWriter | None = None
        self._waiting: dict[int, asyncio.Future[dict[str, object]]] = {}
        self._number = 0
        self._task: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Self:
        self._task = asyncio.create_task(self._keep_connected())
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._task is not None
        self._task.cancel()
        with suppress(asyncio.CancelledError):
            await self._task

    async def tell(self, words: Sequence[str]) -> dict[str, object]:
        """The result of a command; several may be asked for at once.

        Raises AuthorError if it is refused, MachineError if there is no daemon or no answer.
        """
        if self._writer is None:
            why = self.seen.why if isinstance(self.seen, Lost) else "not connected yet"
            raise MachineError(why)
        self._number += 1
        number, reply = self._number, asyncio.get_running_loop().create_future()
        line = request_line(Request(number, tuple(words)))
        self._waiting[number] = reply
        try:
            self._writer.write(line)
            return await asyncio.wait_for(reply, ANSWER_S)
        except TimeoutError:
            raise stuck() from None
        finally:
            self._waiting.pop(number, None)

    async def news(self) -> AsyncIterator[Status | Lost]:
        """`seen` each time that it has changed; who is slow gets the newest only. One reader."""
        while True:
            await self._news.wait()
            self._news.clear()
            yield self.seen

    async def _keep_connected(self) -> None:
        while True:
            try:
                await self._follow()
            except MachineError as error:
                self._see(Lost(str(error)))
            except OSError:
                self._see(Lost(str(gone())))
            await asyncio.sleep(self._again_s)

    async def _follow(self) -> None:
        """One connection, from its beginning to its end, which raises MachineError or OSError."""
        connection = await asyncio.to_thread(self._endpoint.connect, CONNECT_S)
        connection.socket.setblocking(False)
        reader, writer = await asyncio.open_connection(sock=connection.socket)
        lines = _Lines(reader)
        try:
            writer.write(hello_line(Hello(token=connection.token)))
            async with asyncio.timeout(ANSWER_S):
                hello_from(await lines.next())
            self._writer = writer
            writer.write(request_line(Request(0, ("watch",))))
            while True:
                async with asyncio.timeout(ANSWER_S):  # there is a status each second
                    self._sort(reply_from(await lines.next()))
        except LineError as fault:
            raise unreadable(fault) from None
        except TimeoutError:
            raise stuck() from None
        finally:
            self._writer = None
            writer.transport.abort()
            self._fail_waiting()

    def _sort(self, reply: Done | Failed | Push) -> None:
        match reply:
            case Push(status):
                self._see(status)
            case Failed(None | 0, _, message):  # of the connection, or of the watching
                raise MachineError(message)
            case Failed(int(id), code, message):
                if (waiting := self._waiting.pop(id, None)) is not None:
                    waiting.set_exception(refusal(code, message))
            case Done(id, result):
                if (waiting := self._waiting.pop(id, None)) is not None:
                    waiting.set_result(result)

    def _fail_waiting(self) -> None:
        while self._waiting:
            self._waiting.popitem()[1].set_exception(gone())

    def _see(self, seen: Status | Lost) -> None:
        if seen != self.seen:
            self.seen = seen
            self._news.set()


class _Lines:
    """The lines of a stream; raises MachineError at its end."""

    def __init__(self, reader: asyncio.StreamReader) -> None:
        self._reader, self._buffer = reader, LineBuffer()

    async def next(self) -> bytes:
        while (line := self._buffer.next_line()) is None:
            data = await self._reader.read(_PIECE)
            if not data:
                raise gone()
            self._buffer.feed(data)
        return line
