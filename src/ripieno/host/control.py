"""The control server: who connects is answered, and nothing they do reaches a note.

It has a thread with an event loop, and one thread more for all that the host does: one call
after another, so that the loop never waits and what is controlled needs no lock. A command
waits at most for the command before it of each other client, and for one status.

What a client can make the daemon keep is bounded: two pieces read, one line, one answer and one
status to be written, and no more clients than `Limits.clients`.
"""

import asyncio
import hmac
import socket
from collections import Counter
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from threading import Event, Thread
from typing import Protocol, Self, TypeVar

from ripieno.errors import AuthorError, MachineError, RipienoError
from ripieno.host.listening import Listener
from ripieno.link.endpoint import Endpoint
from ripieno.wire.command import (
    AskStatus,
    Command,
    Learn,
    StopLearning,
    Watch,
    command_from,
)
from ripieno.wire.lines import (
    Code,
    Done,
    Failed,
    Hello,
    LineBuffer,
    LineError,
    hello_from,
    hello_line,
    push_line,
    reply_line,
    request_from,
)
from ripieno.wire.status import Status, status_to_data

T = TypeVar("T")

_PIECE = 16 * 1024
_KERNEL_BYTES = 16 * 1024  # what waits in the kernel for who does not read: by default 200 KiB
_COUNTED = ("clients_refused", "clients_dropped", "bad_lines", "control_faults")
_MOST_MESSAGE = 4000  # letters of an error, so that its line is never too long


class Controlled(Protocol):
    """The host, as who controls it sees it. Called in one thread, never two calls at once."""

    def carry_out(self, command: Command, value: int | None = None) -> dict[str, object]:
        """The result, plain for JSON. Raises RipienoError."""
        ...

    def status(self) -> Status: ...


@dataclass(frozen=True, slots=True)
class Limits:
    """Seconds: for the first line; for taking an answer; for reading why it is dismissed;
    between two statuses; and between two that are the same.
    """

    clients: int = 128
    hello_s: float = 5.0
    taken_s: float = 10.0
    parting_s: float = 1.0
    pushes_s: float = 1 / 30
    unchanged_s: float = 1.0


LIMITS = Limits()


class ControlServer:
    """Answers from `start` to `close`, once. What is controlled may call neither."""

    def __init__(self, endpoint: Endpoint, controlled: Controlled, limits: Limits = LIMITS) -> None:
        self._endpoint, self._limits = endpoint, limits
        self._counts: Counter[str] = Counter()
        self._office = _Office(controlled, self._counts)
        self._begun = Event()
        self._thread: Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ending = asyncio.Event()
        self._watched = asyncio.Event()
        self._token: str | None = None
        self._clients: set[_Client] = set()
        self._tasks: set[asyncio.Task[object]] = set()
        self._learner: _Client | None = None  # who has asked last for a control to be learnt

    def start(self) -> None:
        """Returns when clients can connect. Raises MachineError, also for a second daemon."""
        listener = Listener(self._endpoint)
        self._token = listener.token
        self._thread = Thread(target=self._run, args=(listener,), name="control", daemon=True)
        self._thread.start()
        self._begun.wait()

    def close(self) -> None:
        """Returns when the socket is gone and the last call has ended. May be called again."""
        if self._thread is None:
            return
        if self._loop is not None:
            with suppress(RuntimeError):  # it has ended by a fault
                self._loop.call_soon_threadsafe(self._ending.set)
        self._thread.join()
        self._thread = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def counts(self) -> dict[str, int]:
        """`clients` are those of now; the others count from the beginning.

        Refused for their number, dropped for taking no answer, lines that were none of the
        protocol's or never came, and faults of the daemon's own. From any thread.
        """
        return {"clients": len(self._clients), **_counted(self._counts)}

    def _run(self, listener: Listener) -> None:
        try:
            with listener:
                asyncio.run(self._serve(listener.socket))
        finally:
            self._begun.set()
            self._office.close()

    async def _serve(self, listening: socket.socket) -> None:
        self._loop = asyncio.get_running_loop()
        self._loop.set_exception_handler(self._count_fault)
        server = await asyncio.start_server(self._met, sock=listening, limit=_PIECE)
        pushing = asyncio.create_task(self._push())
        self._begun.set()
        await self._ending.wait()
        server.close()
        pushing.cancel()  # the clients' tasks are cancelled with the loop's end

    def _count_fault(self, *_: object) -> None:
        """What asyncio would log, such as that no more connections can be taken."""
        self._counts["control_faults"] += 1

    def _met(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        client = _Client(reader, writer)
        if len(self._clients) >= self._limits.clients:
            self._counts["clients_refused"] += 1
            why = f"there are {len(self._clients)} clients already; end one of them"
            client.write(reply_line(Failed(None, Code.MACHINE, why)))
            writer.close()
            return
        self._clients.add(client)
        self._go_about(self._attend(client))

    def _go_about(self, work: Coroutine[None, None, object]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _attend(self, client: "_Client") -> None:
        """One client, from its coming to its going."""
        try:
            await self._greet(client)
            while True:
                await self._answer(client, await client.next_line())
        except LineError as fault:
            self._counts["bad_lines"] += 1
            await self._dismiss(client, Failed(fault.id, fault.code, str(fault)))
        except TimeoutError:
            self._counts["clients_dropped"] += 1
        except (EOFError, OSError):
            pass
        finally:
            self._clients.discard(client)
            self._see_who_watches()
            self._stop_learning_for(client)
            client.abort()

    def _stop_learning_for(self, client: "_Client") -> None:
        """Who has gone, be it that a terminal was closed, would not see what is learnt."""
        if self._learner is client and not self._ending.is_set():
            self._learner = None
            self._go_about(self._office.carry_out(0, StopLearning()))

    async def _greet(self, client: "_Client") -> None:
        """The first lines. Raises LineError."""
        client.write(hello_line(Hello()))
        try:
            async with asyncio.timeout(self._limits.hello_s):
                hello = hello_from(await client.next_line())
        except TimeoutError:
            why = f"no hello within {self._limits.hello_s:g} seconds"
            raise LineError(Code.BAD_LINE, why) from None
        if self._token is not None and not _is_same(hello.token, self._token):
            raise LineError(Code.REFUSED, "not the token that control.json has; read it again")

    async def _answer(self, client: "_Client", line: bytes) -> None:
        """One line. Raises LineError if it is too long, TimeoutError if nobody takes the answer."""
        client.write(await self._reply(client, line))
        async with asyncio.timeout(self._limits.taken_s):
            await client.drain()
        await asyncio.sleep(0)  # who sends many lines at once lets the others have a turn

    async def _reply(self, client: "_Client", line: bytes) -> bytes:
        try:
            request = request_from(line)
        except LineError as fault:
            self._counts["bad_lines"] += 1
            return _failed(fault.id, fault.code, fault)
        try:
            command = command_from(request.words)
        except AuthorError as fault:
            return _failed(request.id, Code.UNKNOWN_COMMAND, fault)
        if isinstance(command, Watch):
            client.watches = True
            self._see_who_watches()
            return reply_line(Done(request.id, {}))
        if isinstance(command, AskStatus):
            return await self._office.tell_status(request.id)
        if isinstance(command, Learn):
            self._learner = client
        return await self._office.carry_out(request.id, command)

    async def _dismiss(self, client: "_Client", why: Failed) -> None:
        """Say why and hang up, but not before it is read: TCP forgets it if more has come in."""
        client.watches = False
        client.write(reply_line(why))
        with suppress(TimeoutError, OSError):
            async with asyncio.timeout(self._limits.parting_s):
                await client.part()

    def _see_who_watches(self) -> None:
        if any(client.watches for client in self._clients):
            self._watched.set()
        else:
            self._watched.clear()

    async def _push(self) -> None:
        """One status for all who watch. Who has not taken the last one gets the newest later."""
        shown, version = None, 0
        while True:
            await self._watched.wait()
            seen = await self._office.see()
            if not isinstance(seen, BaseException):
                plain = replace(seen.status, uptime_s=0.0)
                if plain != shown:
                    shown, version = plain, version + 1
                self._push_to_all(seen.line, version)
            await asyncio.sleep(self._limits.pushes_s)

    def _push_to_all(self, line: bytes, version: int) -> None:
        now = asyncio.get_running_loop().time()
        for client in self._clients:
            due = client.version != version or now >= client.pushed_at + self._limits.unchanged_s
            if client.watches and due and client.is_drained:
                client.write(line)
                client.version, client.pushed_at = version, now


class _Client:
    """One connection. `version` is that of the status pushed last, at `pushed_at`."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.watches, self.version, self.pushed_at = False, 0, 0.0
        self._reader, self._writer, self._lines = reader, writer, LineBuffer()
        writer.transport.set_write_buffer_limits(high=0)  # `drain` waits until all is taken
        writer.get_extra_info("socket").setsockopt(
            socket.SOL_SOCKET, socket.SO_SNDBUF, _KERNEL_BYTES
        )

    @property
    def is_drained(self) -> bool:
        return self._writer.transport.get_write_buffer_size() == 0

    def write(self, line: bytes) -> None:
        if not self._writer.is_closing():
            self._writer.write(line)

    async def drain(self) -> None:
        await self._writer.drain()

    async def next_line(self) -> bytes:
        """Raises LineError for one that is too long, EOFError at the end."""
        while (line := self._lines.next_line()) is None:
            data = await self._reader.read(_PIECE)
            if not data:
                raise EOFError
            self._lines.feed(data)
        return line

    async def part(self) -> None:
        """Returns when the other side has hung up too."""
        await self._writer.drain()
        self._writer.write_eof()
        while await self._reader.read(_PIECE):
            pass

    def abort(self) -> None:
        self._writer.transport.abort()


@dataclass(frozen=True, slots=True)
class _Seen:
    status: Status
    line: bytes


class _Office:
    """All calls of what is controlled, one after another, in a thread of their own."""

    def __init__(self, controlled: Controlled, counts: Counter[str]) -> None:
        self._controlled, self._counts = controlled, counts
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="control-office")
        self._seeing: asyncio.Task[_Seen | BaseException] | None = None

    async def carry_out(self, number: int, command: Command) -> bytes:
        """The line that answers it, whatever comes of it."""
        reply = await self._call(
            lambda: reply_line(Done(number, self._controlled.carry_out(command)))
        )
        return self._told(number, reply) if isinstance(reply, BaseException) else reply

    async def tell_status(self, number: int) -> bytes:
        """The line that answers it."""
        seen = await self.see()
        if isinstance(seen, BaseException):
            return self._told(number, seen)
        try:
            return reply_line(Done(number, status_to_data(seen.status)))
        except LineError as fault:
            return self._told(number, fault)

    async def see(self) -> _Seen | BaseException:
        """One status for all who ask while it is being made.

        It is never older than a command that was done before: the calls are made in turn.
        """
        if self._seeing is None or self._seeing.done():
            self._seeing = asyncio.create_task(self._call(self._look))
        return await asyncio.shield(self._seeing)

    def close(self) -> None:
        """Returns when the last call has."""
        self._worker.shutdown(cancel_futures=True)

    def _look(self) -> _Seen:
        status = self._controlled.status()
        status = replace(status, counts=status.counts | _counted(self._counts))
        return _Seen(status, push_line(status_to_data(status)))

    async def _call(self, work: Callable[[], T]) -> T | BaseException:
        """The result, or what was raised, be it a fault of the daemon's own: it has a number too.

        So a client gets an answer for it, and the music goes on.
        """
        future = asyncio.get_running_loop().run_in_executor(self._worker, work)
        await asyncio.wait([future])
        error = future.exception()
        return future.result() if error is None else error

    def _told(self, number: int, error: BaseException) -> bytes:
        match error:
            case LineError():  # of our own answer
                self._counts["control_faults"] += 1
                return _failed(number, error.code, error)
            case MachineError():
                return _failed(number, Code.MACHINE, error)
            case RipienoError():
                return _failed(number, Code.REFUSED, error)
            case _:
                self._counts["control_faults"] += 1
                what = f"a fault of the daemon's own: {type(error).__name__}: {error}; report it"
                return _failed(number, Code.MACHINE, what)


def _failed(number: int | None, code: Code, why: object) -> bytes:
    return reply_line(Failed(number, code, str(why)[:_MOST_MESSAGE]))


def _counted(counts: Counter[str]) -> dict[str, int]:
    return {name: counts[name] for name in _COUNTED}


def _is_same(token: str | None, ours: str) -> bool:
    """In a time that tells nothing of how much of it was right."""
    return token is not None and hmac.compare_digest(
        token.encode("utf-8", "replace"), ours.encode("utf-8")
    )
