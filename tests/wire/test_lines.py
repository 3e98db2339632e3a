"""The line codec: both sides against each other without a socket, and against nonsense."""

import json
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from control_rig import STATUS
from ripieno import __version__
from ripieno.wire.lines import (
    MOST_BYTES,
    MOST_ID,
    PROTOCOL,
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
    push_line,
    reply_from,
    reply_line,
    request_from,
    request_line,
)
from ripieno.wire.status import status_to_data

IDS = st.integers(0, MOST_ID)
TEXTS = st.text(st.characters(exclude_categories=[]))  # with halves of surrogate pairs as well
READERS = (hello_from, request_from, reply_from)


def cut(data: bytes, pieces: list[int]) -> list[bytes]:
    """All lines of a stream that comes in pieces of these lengths, and then the rest."""
    buffer, lines = LineBuffer(), []
    for length in [*pieces, len(data)]:
        buffer.feed(data[:length])
        data = data[length:]
        while (line := buffer.next_line()) is not None:
            lines.append(line)
    return lines


@given(IDS, st.lists(TEXTS), st.lists(st.integers(1, 40)))
def test_a_conversation_is_understood_in_whatever_pieces_it_comes(
    number: int, words: list[str], pieces: list[int]
) -> None:
    request = Request(number, tuple(words))
    hello, asked = cut(hello_line(Hello(token="t")) + request_line(request), pieces)
    assert (hello_from(hello), request_from(asked)) == (Hello(PROTOCOL, __version__, "t"), request)

    failed = Failed(number, Code.REFUSED, "".join(words))
    answers = reply_line(Done(number, {"told": words})) + reply_line(failed)
    replies = [
        reply_from(line) for line in cut(answers + push_line(status_to_data(STATUS)), pieces)
    ]
    assert replies == [Done(number, {"told": words}), failed, Push(STATUS)]


def test_the_lines_are_those_of_the_page() -> None:
    assert json.loads(hello_line(Hello())) == {"ripieno": 1, "program": __version__}
    assert json.loads(request_line(Request(1, ("tap",)))) == {"id": 1, "tell": ["tap"]}
    assert json.loads(reply_line(Done(1, {"bpm": 94.0}))) == {"id": 1, "done": {"bpm": 94.0}}
    failed = Failed(None, Code.BAD_LINE, "why")
    assert json.loads(reply_line(failed)) == {
        "id": None, "error": {"code": "bad-line", "message": "why"},
    }  # fmt: skip


def test_a_line_ends_once_and_last() -> None:
    for line in (request_line(Request(1, ("a\nb\u2028",))), push_line({"notices": ["a\r\nb"]})):
        assert line.count(b"\n") == 1
        assert line.endswith(b"\n")


def test_a_line_of_just_64_kib_passes_and_one_byte_more_does_not() -> None:
    longest = b"x" * (MOST_BYTES - 1)
    buffer = LineBuffer()
    buffer.feed(longest + b"\n" + longest + b"y\nnext\n")
    assert buffer.next_line() == longest
    for _ in range(2):
        with pytest.raises(LineError) as error:
            buffer.next_line()
        assert error.value.code is Code.TOO_LONG


def test_a_line_without_end_is_too_long_before_its_end() -> None:
    buffer = LineBuffer()
    buffer.feed(b"x" * MOST_BYTES)
    with pytest.raises(LineError):
        buffer.next_line()


def test_what_would_be_too_long_is_not_written() -> None:
    fits = MOST_BYTES - len(push_line({"a": ""}))
    assert len(push_line({"a": "x" * fits})) == MOST_BYTES
    with pytest.raises(LineError) as error:
        push_line({"a": "x" * (fits + 1)})
    assert error.value.code is Code.TOO_LONG


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_what_json_cannot_say_is_not_written(number: float) -> None:
    with pytest.raises(ValueError, match="JSON"):
        push_line({"bpm": number})


@pytest.mark.parametrize(
    "line",
    [
        b"", b"null", b"7", b'"tell"', b"[]", b"{", b"{}", b"{]", b"\xff\xfe{\x00}\x00", b"\xff",
        b'{"id": NaN, "tell": []}', b"[" * 60_000, b'{"id": ' + b"9" * 5000 + b"}",
        b'{"a":' * 9_000 + b"1" + b"}" * 9_000, b'{"id": 1e999, "tell": ["tap"]}', b"\0" * 99,
    ],
    ids=lambda line: ascii(line[:20]),
)  # fmt: skip
def test_what_is_no_line_of_the_protocol_is_a_bad_line(line: bytes) -> None:
    for read in READERS:
        with pytest.raises(LineError) as error:
            read(line)
        assert error.value.code is Code.BAD_LINE
        assert str(error.value).isprintable()


@pytest.mark.parametrize(
    ("data", "number"),
    [
        ({"tell": ["tap"]}, None),
        ({"id": -1, "tell": ["tap"]}, None),
        ({"id": True, "tell": ["tap"]}, None),
        ({"id": 1.0, "tell": ["tap"]}, None),
        ({"id": MOST_ID + 1, "tell": ["tap"]}, None),
        ({"id": 7}, 7),
        ({"id": 7, "tell": "tap"}, 7),
        ({"id": 7, "tell": ["tempo", 94]}, 7),
        ({"id": 7, "tell": {"tap": 1}}, 7),
    ],
    ids=str,
)
def test_a_bad_request_is_answered_with_its_id_where_it_has_one(
    data: object, number: int | None
) -> None:
    with pytest.raises(LineError) as error:
        request_from(json.dumps(data).encode())
    assert (error.value.code, error.value.id) == (Code.BAD_LINE, number)


def test_a_hello_of_another_protocol_says_which() -> None:
    with pytest.raises(LineError, match=r"protocol 2 \(ripieno '9.9'\), this one 1") as error:
        hello_from(b'{"ripieno": 2, "program": "9.9"}')
    assert error.value.code is Code.VERSION


@pytest.mark.parametrize(
    "hello", [{"ripieno": "1", "program": "x"}, {"ripieno": 1}, {"ripieno": 1, "program": 1},
              {"ripieno": 1, "program": "x", "token": 5}], ids=str,
)  # fmt: skip
def test_a_hello_without_its_values_is_a_bad_line(hello: object) -> None:
    with pytest.raises(LineError) as error:
        hello_from(json.dumps(hello).encode())
    assert error.value.code is Code.BAD_LINE


def test_keys_that_are_not_known_are_ignored() -> None:
    assert request_from(b'{"id": 1, "tell": ["tap"], "why": "fun"}') == Request(1, ("tap",))


def nonsense(random: Random) -> bytes:
    """A line that is random, or nearly one of the protocol's."""
    if random.random() < 0.5:
        return random.randbytes(random.randrange(60)).replace(b"\n", b"")
    good = [
        hello_line(Hello()), request_line(Request(5, ("key", "E", "minor"))),
        reply_line(Done(1, {})), reply_line(Failed(1, Code.MACHINE, "x")),
        push_line(status_to_data(STATUS)),
    ]  # fmt: skip
    line = bytearray(random.choice(good)[:-1])
    for _ in range(random.randrange(1, 4)):
        line[random.randrange(len(line))] = random.choice(b'{}[]",:0e-\x00\xff')
    return bytes(line)


@pytest.mark.parametrize("read", READERS, ids=lambda read: read.__name__)
def test_random_lines_are_read_or_refused(read) -> None:
    random, refused = Random(4), 0
    for _ in range(5000):
        try:
            read(nonsense(random))
        except LineError as error:
            assert str(error).isprintable()  # noqa: PT017 - both ways out are right
            refused += 1
    assert 4000 < refused < 5000
