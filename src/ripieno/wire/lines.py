"""The line codec: one JSON object a line, in UTF-8, at most 64 KiB with its end.

Each side begins with a hello that names the protocol. Then a client sends requests with an id
of its own choice, and the daemon answers each once; to who watches it pushes the status. Keys
that are not known are ignored.

    {"ripieno": 1, "program": "0.1.0"}
    {"id": 1, "tell": ["tempo", "94"]}       {"id": 1, "done": {"bpm": 94.0}}
    {"id": 2, "tell": ["watch"]}             {"id": 2, "done": {}}
                                             {"status": {...}}
    {"id": 3, "tell": ["tempi"]}             {"id": 3, "error": {"code": ..., "message": ...}}
"""

import json
from dataclasses import dataclass
from enum import StrEnum
from typing import NoReturn, TypeGuard

from ripieno import __version__
from ripieno.errors import AuthorError
from ripieno.wire.status import Status, status_from_data

PROTOCOL = 1
MOST_BYTES = 64 * 1024
MOST_ID = 2**53 - 1  # RFC 8259, section 6: whole numbers that every reader agrees on


class Code(StrEnum):
    """Why a request is not done."""

    BAD_LINE = "bad-line"
    TOO_LONG = "too-long"
    UNKNOWN_COMMAND = "unknown-command"
    REFUSED = "refused"
    MACHINE = "machine"
    VERSION = "version"


class LineError(AuthorError):
    """A line that is none of the protocol's. `id` is that of the request, where it has one."""

    def __init__(self, code: Code, message: str, id: int | None = None) -> None:  # noqa: A002
        super().__init__(message)
        self.code, self.id = code, id


@dataclass(frozen=True, slots=True)
class Hello:
    """The first line each way. `token` is the client's, where the address is no socket file."""

    protocol: int = PROTOCOL
    program: str = __version__
    token: str | None = None


@dataclass(frozen=True, slots=True)
class Request:
    id: int
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Done:
    """`result` is plain for JSON."""

    id: int
    result: dict[str, object]


@dataclass(frozen=True, slots=True)
class Failed:
    """`id` is None where the line that failed has none that can be read."""

    id: int | None
    code: Code
    message: str


@dataclass(frozen=True, slots=True)
class Push:
    """The status, unasked."""

    status: Status


class LineBuffer:
    """Cuts a stream of bytes into lines, whatever the pieces it comes in."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._looked = 0  # up to there is no end of a line

    def feed(self, data: bytes) -> None:
        self._bytes += data

    def next_line(self) -> bytes | None:
        """The next line without its end; None before the rest of it has come.

        Raises LineError for one that is too long, and again at every later call.
        """
        end = self._bytes.find(b"\n", self._looked)
        length = len(self._bytes) if end < 0 else end
        if length >= MOST_BYTES:
            raise LineError(Code.TOO_LONG, f"a line is longer than {MOST_BYTES} bytes")
        if end < 0:
            self._looked = length
            return None
        line = bytes(self._bytes[:end])
        del self._bytes[: end + 1]
        self._looked = 0
        return line


def hello_line(hello: Hello) -> bytes:
    token = {} if hello.token is None else {"token": hello.token}
    return _line({"ripieno": hello.protocol, "program": hello.program, **token})


def request_line(request: Request) -> bytes:
    return _line({"id": request.id, "tell": list(request.words)})


def reply_line(reply: Done | Failed) -> bytes:
    """Raises LineError if it is too long, TypeError or ValueError if JSON cannot say it."""
    if isinstance(reply, Done):
        return _line({"id": reply.id, "done": reply.result})
    error = {"code": reply.code.value, "message": reply.message}
    return _line({"id": reply.id, "error": error})


def push_line(data: dict[str, object]) -> bytes:
    """The line that pushes what `status_to_data` made. Raises LineError if it is too long."""
    return _line({"status": data})


def hello_from(line: bytes) -> Hello:
    """Raises LineError, also for another version of the protocol."""
    data = _object(line)
    protocol, program, token = data.get("ripieno"), data.get("program"), data.get("token")
    if not _is_whole(protocol):
        _bad('no hello; the first line is {"ripieno": 1, "program": "0.1.0"}')
    if not isinstance(program, str) or not isinstance(token, str | None):
        _bad("a hello in which program or token is no text")
    if protocol != PROTOCOL:
        raise LineError(
            Code.VERSION,
            f"the other side speaks protocol {protocol} (ripieno {program[:40]!r}), this one "
            f"{PROTOCOL} (ripieno '{__version__}'); let both be of one version",
        )
    return Hello(protocol, program, token)


def request_from(line: bytes) -> Request:
    """Raises LineError."""
    data = _object(line)
    number, words = data.get("id"), data.get("tell")
    if not _is_whole(number):
        _bad(f"a request without an id; it is a whole number, 0 to {MOST_ID}")
    if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
        _bad('a request without its words; they are a list, as "tell": ["tempo", "94"]', number)
    return Request(number, tuple(words))


def reply_from(line: bytes) -> Done | Failed | Push:
    """Raises LineError."""
    data = _object(line)
    if "status" in data:
        return Push(_status(data["status"]))
    number, result = data.get("id"), data.get("done")
    if isinstance(result, dict) and _is_whole(number):
        return Done(number, result)
    match data.get("error"):
        case {"code": str(code), "message": str(message)} if code in set(Code):
            if number is None or _is_whole(number):
                return Failed(number, Code(code), message)
    raise LineError(Code.BAD_LINE, "a line that is no answer and no status")


def _status(data: object) -> Status:
    try:
        return status_from_data(data)
    except AuthorError as fault:
        raise LineError(Code.BAD_LINE, str(fault)) from None


def _is_whole(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= MOST_ID


def _line(data: dict[str, object]) -> bytes:
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    if len(text) >= MOST_BYTES:  # the text is ASCII, and its end is one byte more
        raise LineError(Code.TOO_LONG, f"a line of {len(text)} bytes; at most {MOST_BYTES}")
    return text.encode("ascii") + b"\n"


def _object(line: bytes) -> dict[str, object]:
    try:
        data = json.loads(line.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):  # a number of too many digits is a ValueError too
        data = None
    if not isinstance(data, dict):
        _bad("a line that is no JSON object")
    return data


def _no_constant(name: str) -> NoReturn:
    """JSON has no NaN and no Infinity, though Python's reader would take them."""
    raise ValueError(name)


def _bad(what: str, id: int | None = None) -> NoReturn:  # noqa: A002
    raise LineError(Code.BAD_LINE, what, id)
