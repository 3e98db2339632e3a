"""The control server over a real socket, with a host of ten lines behind it."""

import json
import logging
import subprocess
import sys
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from random import Random
from socket import SHUT_WR
from threading import Event, Thread

import pytest

from control_rig import PATIENCE_S, STATUS, Fake, Raw, Served, serving
from ripieno.errors import AuthorError, MachineError, UsageError
from ripieno.host.control import LIMITS, ControlServer
from ripieno.link.client import Client
from ripieno.link.endpoint import Endpoint, Kind
from ripieno.wire.command import Learn, Silence, StepStyle, StopLearning
from ripieno.wire.lines import MOST_BYTES
from ripieno.wire.status import Status, status_from_data
from ripieno.wire.time_commands import ChooseTempo, Tap

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="Unix sockets, owners and modes"),
    pytest.mark.usefixtures("nothing_logged"),
]


FEW_FILES = """
import resource, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from control_rig import Fake
from ripieno.host.control import ControlServer
from ripieno.link.endpoint import Endpoint, Kind
with ControlServer(Endpoint(Path(sys.argv[2]), Kind.UNIX), Fake()) as server:
    resource.setrlimit(resource.RLIMIT_NOFILE, (30, 30))
    print("ready", flush=True)
    sys.stdin.read()
    print(server.counts()["control_faults"])
"""


@pytest.fixture
def nothing_logged(caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]):
    """Whatever a client does, nothing is logged, and nothing printed."""
    with caplog.at_level(logging.WARNING):
        yield
    assert caplog.records == []
    assert capfd.readouterr() == ("", "")


@pytest.fixture
def served(tmp_path: Path):
    with serving(tmp_path) as served:
        yield served


def answer(raw: Raw, *lines: object) -> dict[str, object]:
    raw.write(*lines)
    return raw.read()


def code(reply: dict[str, object]) -> tuple[object, str]:
    return reply["id"], reply["error"]["code"]


def still_answers(served: Served) -> bool:
    with Client(served.endpoint) as client:
        return client.tell(["tap"]) == {"told": ["tap"]}


def test_a_request_is_carried_out_and_answered_with_its_id(served: Served) -> None:
    with Raw(served.endpoint).greet() as raw:
        reply = answer(raw, {"id": 41, "tell": ["tempo", "94"]})
    assert reply == {"id": 41, "done": {"bpm": 94.0}}
    assert served.fake.told == [ChooseTempo(94.0)]


def test_requests_sent_at_once_are_answered_in_their_order(served: Served) -> None:
    with Raw(served.endpoint).greet() as raw:
        raw.write(*({"id": n, "tell": ["tempo", str(100 + n)]} for n in range(50)))
        assert [raw.read()["id"] for _ in range(50)] == list(range(50))
    assert served.fake.told == [ChooseTempo(100.0 + n) for n in range(50)]


def test_status_is_asked_for_and_knows_what_was_told_before(served: Served) -> None:
    with Raw(served.endpoint).greet() as raw:
        for bpm in range(100, 130):
            raw.write({"id": 1, "tell": ["tempo", str(bpm)]}, {"id": 2, "tell": ["status"]})
            raw.read()
            assert status_from_data(raw.read()["done"]) == replace(STATUS, bpm=float(bpm))


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (AuthorError("no such style"), "refused"),
        (UsageError("not so"), "refused"),
        (MachineError("the engine is lost"), "machine"),
    ],
    ids=lambda e: type(e).__name__,
)
def test_what_the_host_refuses_is_answered_with_its_message(
    served: Served, error: Exception, expected: str
) -> None:
    served.fake.error = error
    with Raw(served.endpoint).greet() as raw:
        reply = answer(raw, {"id": 1, "tell": ["tap"]})
    assert reply["error"] == {"code": expected, "message": str(error)}


def test_a_fault_of_the_hosts_own_is_answered_and_counted(served: Served) -> None:
    served.fake.error = KeyError("oops")
    with Raw(served.endpoint).greet() as raw:
        reply = answer(raw, {"id": 1, "tell": ["tap"]})
        assert code(reply) == (1, "machine")
        assert "KeyError: 'oops'" in reply["error"]["message"]
        served.fake.error = None
        assert answer(raw, {"id": 2, "tell": ["tap"]})["done"]
    assert served.server.counts()["control_faults"] == 1


@pytest.mark.parametrize("result", [{"a": {1, 2}}, {"a": float("nan")}, {"a": "x" * MOST_BYTES}])
def test_a_result_that_no_line_can_say_is_answered_as_a_fault(
    tmp_path: Path, result: dict[str, object]
) -> None:
    class Odd(Fake):
        def carry_out(self, *_: object) -> dict[str, object]:
            return result

    with serving(tmp_path, Odd()) as served, Raw(served.endpoint).greet() as raw:
        assert "error" in answer(raw, {"id": 1, "tell": ["tap"]})
        assert "done" in answer(raw, {"id": 2, "tell": ["status"]})
        assert served.server.counts()["control_faults"] == 1


def test_a_status_that_cannot_be_had_is_answered(tmp_path: Path) -> None:
    class Lost(Fake):
        def status(self) -> Status:
            raise MachineError("the engine is lost")

    with serving(tmp_path, Lost()) as served, Raw(served.endpoint).greet() as raw:
        reply = answer(raw, {"id": 1, "tell": ["status"]})
        assert reply["error"] == {"code": "machine", "message": "the engine is lost"}


def test_a_very_long_message_is_cut_to_a_line(served: Served) -> None:
    served.fake.error = AuthorError("\U0001f3b9" * MOST_BYTES)
    with Raw(served.endpoint).greet() as raw:
        assert code(answer(raw, {"id": 1, "tell": ["tap"]})) == (1, "refused")


def test_words_that_are_no_command_are_answered(served: Served) -> None:
    with Raw(served.endpoint).greet() as raw:
        reply = answer(raw, {"id": 3, "tell": ["tempi"]})
        assert code(reply) == (3, "unknown-command")
        assert "did you mean tempo?" in reply["error"]["message"]
        assert code(answer(raw, {"id": 4, "tell": []})) == (4, "unknown-command")


def test_a_bad_line_is_answered_and_the_connection_goes_on(served: Served) -> None:
    with Raw(served.endpoint).greet() as raw:
        assert code(answer(raw, b"GET / HTTP/1.1\n")) == (None, "bad-line")
        assert code(answer(raw, {"id": 5, "tell": "tap"})) == (5, "bad-line")
        assert answer(raw, {"id": 6, "tell": ["tap"]})["id"] == 6
    assert served.server.counts()["bad_lines"] == 2


@pytest.mark.parametrize("kind", Kind)
def test_a_line_that_is_too_long_is_answered_and_ends_the_connection(
    tmp_path: Path, kind: Kind
) -> None:
    with serving(tmp_path, kind=kind) as served:
        with Raw(served.endpoint).greet() as raw:
            raw.write(b"x" * 50 * MOST_BYTES)  # more than the system keeps: it is read to its end
            assert code(raw.read()) == (None, "too-long")
            assert raw.is_closed()
        assert still_answers(served)


@pytest.mark.parametrize(
    ("hello", "expected"),
    [
        ({"ripieno": 2, "program": "9"}, "version"),
        ({"id": 1, "tell": ["tap"]}, "bad-line"),
        (b"GET / HTTP/1.1\r\n", "bad-line"),
        (b"x" * MOST_BYTES, "too-long"),
    ],
    ids=["version", "none", "web", "long"],
)
def test_a_bad_hello_is_answered_and_ends_the_connection(
    served: Served, hello: object, expected: str
) -> None:
    with Raw(served.endpoint) as raw:
        assert raw.read()["ripieno"] == 1
        assert code(answer(raw, hello)) == (None, expected)
        assert raw.is_closed()
    assert served.fake.told == []
    assert served.server.counts()["bad_lines"] == 1


def test_who_says_nothing_is_sent_away(tmp_path: Path) -> None:
    limits = replace(LIMITS, hello_s=0.01)
    with serving(tmp_path, limits=limits) as served, Raw(served.endpoint) as raw:
        raw.read()
        assert "no hello within 0.01 seconds" in raw.read()["error"]["message"]
        assert raw.is_closed()


def test_a_client_too_many_is_told_so_and_the_others_stay(tmp_path: Path) -> None:
    with serving(tmp_path, limits=replace(LIMITS, clients=3)) as served, ExitStack() as stack:
        inside = [stack.enter_context(Raw(served.endpoint)).greet() for _ in range(3)]
        with Raw(served.endpoint) as one_more:
            assert "there are 3 clients already" in one_more.read()["error"]["message"]
            assert one_more.is_closed()
        assert [answer(raw, {"id": 1, "tell": ["tap"]})["id"] for raw in inside] == [1, 1, 1]
        counts = served.server.counts()
        assert (counts["clients"], counts["clients_refused"]) == (3, 1)


def test_who_watches_gets_each_change_and_the_same_again_later(served: Served) -> None:
    with Raw(served.endpoint).greet() as raw:
        assert answer(raw, {"id": 1, "tell": ["watch"]}) == {"id": 1, "done": {}}
        seen = [raw.read()["status"]["bpm"] for _ in range(2)]  # once, and after a second again
        raw.write({"id": 2, "tell": ["tempo", "100"]})
        replies = [raw.read(), raw.read()]
    assert seen == [STATUS.bpm] * 2
    assert {"id": 2, "done": {"bpm": 100.0}} in replies
    assert 100.0 in [reply["status"]["bpm"] for reply in replies if "status" in reply]


def test_one_status_is_made_for_all_who_ask_meanwhile(tmp_path: Path) -> None:
    class Slow(Fake):
        asked, begun, go = 0, Event(), Event()

        def status(self) -> Status:
            self.asked += 1
            self.begun.set()
            assert self.go.wait(PATIENCE_S)
            return self.now

    fake = Slow()
    with serving(tmp_path, fake) as served, ExitStack() as stack:
        raws = [stack.enter_context(Raw(served.endpoint)).greet() for _ in range(20)]
        for raw in raws:
            raw.write({"id": 1, "tell": ["status"]})
        assert fake.begun.wait(PATIENCE_S)
        with Raw(served.endpoint).greet() as last:
            answer(last, {"id": 1, "tell": ["tempi"]})  # by now the others have asked
        fake.go.set()
        assert [raw.read()["id"] for raw in raws] == [1] * 20
        assert fake.asked <= 2


@pytest.mark.parametrize("kind", Kind)
def test_a_hundred_clients_that_never_read_disturb_nobody(tmp_path: Path, kind: Kind) -> None:
    class Moving(Fake):
        def status(self) -> Status:
            self.now = replace(self.now, restarts=self.now.restarts + 1)
            return self.now

    limits = replace(LIMITS, pushes_s=0.0001)
    with serving(tmp_path, Moving(), kind, limits) as served, ExitStack() as stack:
        for _ in range(100):
            raw = stack.enter_context(Raw(served.endpoint))
            raw.write({"ripieno": 1, "program": "x", "token": raw.token})
            raw.write({"id": 1, "tell": ["watch"]}, *[{"id": 2, "tell": ["status"]}] * 20)
        with Client(served.endpoint) as client:
            seen = [status.restarts for status, _ in zip(client.watch(), range(200), strict=False)]
            assert client.tell(["silence"]) == {"told": ["silence"]}
        assert seen == sorted(set(seen))
        assert Silence() in served.fake.told


def test_who_reads_late_gets_few_old_statuses_and_then_the_newest(tmp_path: Path) -> None:
    class Moving(Fake):
        enough = Event()

        def status(self) -> Status:
            self.now = replace(self.now, restarts=self.now.restarts + 1)
            if self.now.restarts > 2000:
                self.enough.set()
            return self.now

    fake = Moving()
    limits = replace(LIMITS, pushes_s=0.0)
    with serving(tmp_path, fake, limits=limits) as served, Raw(served.endpoint).greet() as raw:
        raw.write({"id": 1, "tell": ["watch"]})
        assert fake.enough.wait(PATIENCE_S)
        raw.read()
        kept = 0
        while raw.read()["status"]["restarts"] <= 2000:
            kept += 1
        assert kept < 200


def test_who_takes_no_answers_is_dropped(tmp_path: Path) -> None:
    limits = replace(LIMITS, taken_s=0.01)
    with serving(tmp_path, limits=limits) as served, Raw(served.endpoint).greet() as raw:
        asking = json.dumps({"id": 1, "tell": ["status"]}).encode() + b"\n"
        with pytest.raises((BrokenPipeError, ConnectionResetError)):
            raw.write(*[asking * 100] * 1000)
        assert served.server.counts()["clients_dropped"] == 1
        assert still_answers(served)


class Slow(Fake):
    """Takes until `go` over what it is told."""

    def __init__(self) -> None:
        super().__init__()
        self.begun, self.go = Event(), Event()

    def carry_out(self, *words: object) -> dict[str, object]:
        self.begun.set()
        assert self.go.wait(PATIENCE_S)
        return super().carry_out(*words)


def test_a_long_call_keeps_nobody_from_being_answered(tmp_path: Path) -> None:
    fake = Slow()
    with serving(tmp_path, fake) as served, Raw(served.endpoint).greet() as raw:
        raw.write({"id": 1, "tell": ["tap"]})
        assert fake.begun.wait(PATIENCE_S)
        with Raw(served.endpoint).greet() as other:
            assert code(answer(other, {"id": 2, "tell": ["tempi"]})) == (2, "unknown-command")
        fake.go.set()
        assert raw.read()["id"] == 1


def test_closing_waits_for_the_call_that_runs_and_says_nothing_of_it(tmp_path: Path) -> None:
    fake = Slow()
    with serving(tmp_path, fake) as served, Raw(served.endpoint).greet() as raw:
        raw.write({"id": 1, "tell": ["tap"]})
        assert fake.begun.wait(PATIENCE_S)
        closing = Thread(target=served.server.close)
        closing.start()
        assert raw.is_closed()
        fake.go.set()
        closing.join(PATIENCE_S)
        assert not closing.is_alive()
    assert fake.told == [Tap()]


def test_closing_hangs_up_and_takes_the_socket_away(tmp_path: Path) -> None:
    with serving(tmp_path) as served:
        raw = Raw(served.endpoint).greet()
        raw.write({"id": 1, "tell": ["watch"]})
        raw.read()
    with raw:
        while not raw.is_closed():
            pass
    assert not served.endpoint.path.exists()
    served.server.close()


def test_a_second_server_does_not_start_and_the_first_goes_on(served: Served) -> None:
    second = ControlServer(served.endpoint, Fake())
    with pytest.raises(MachineError, match="a daemon is running already"):
        second.start()
    second.close()
    assert still_answers(served)


def test_a_folder_that_others_may_enter_is_refused(tmp_path: Path) -> None:
    (tmp_path / "run").mkdir()
    (tmp_path / "run").chmod(0o755)
    with pytest.raises(MachineError, match=r"open to other users \(mode 0755\)"):
        ControlServer(Endpoint(tmp_path / "run", Kind.UNIX), Fake()).start()


@pytest.mark.parametrize("token", [None, "", "wrong", "\ud800"], ids=ascii)
def test_on_the_loopback_address_who_has_no_token_is_sent_away(tmp_path: Path, token) -> None:
    with serving(tmp_path, kind=Kind.LOOPBACK) as served, Raw(served.endpoint) as raw:
        assert raw.read()["ripieno"] == 1
        reply = answer(raw, {"ripieno": 1, "program": "x", "token": token})
        assert code(reply) == (None, "refused")
        assert raw.is_closed()
        assert still_answers(served)
        assert served.fake.told == [Tap()]


def test_thousands_of_random_lines_are_answered_and_the_server_goes_on(served: Served) -> None:
    random = Random(7)
    for _ in range(5):
        with Raw(served.endpoint).greet() as raw:
            for _ in range(20):
                lines = [random.randbytes(random.randrange(80)) for _ in range(40)]
                raw.write(*(line.replace(b"\n", b"") + b"\n" for line in lines))
                assert {code(raw.read()) for _ in lines} == {(None, "bad-line")}
    assert served.server.counts()["bad_lines"] == 4000
    assert still_answers(served)


@pytest.mark.skipif(sys.platform != "linux", reason="a limit of open files for one process")
def test_more_connections_than_files_can_be_opened_say_nothing_and_pass(tmp_path: Path) -> None:
    endpoint = Endpoint(tmp_path / "run", Kind.UNIX)
    with subprocess.Popen(
        [sys.executable, "-c", FEW_FILES, Path(__file__).parents[1], endpoint.folder],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout.readline() == "ready\n"
        with ExitStack() as stack:
            for _ in range(60):
                stack.enter_context(Raw(endpoint))
        with Client(endpoint, PATIENCE_S) as client:
            assert client.tell(["tap"]) == {"told": ["tap"]}
        process.stdin.close()
        assert int(process.stdout.readline()) >= 1
        assert process.stderr.read() == ""


def test_clients_that_vanish_in_the_middle_leave_nothing(served: Served) -> None:
    for piece in (b"", b'{"ripieno"', b'{"ripieno":1,"program":"x"}\n{"id":1,"te'):
        with Raw(served.endpoint) as raw:
            raw.write(piece)
    assert still_answers(served)
    with Raw(served.endpoint).greet() as last:
        last.write({"id": 1, "tell": ["tap"]})
        last.read()
        while served.server.counts()["clients"] > 1:
            last.write({"id": 2, "tell": ["tap"]})
            last.read()


def test_learning_ends_with_the_connection_that_asked_for_it_last(tmp_path: Path) -> None:
    with serving(tmp_path, Fake()) as served, Raw(served.endpoint).greet() as last:
        with Raw(served.endpoint).greet() as first:
            answer(first, {"id": 1, "tell": ["learn", "next"]})
            answer(last, {"id": 1, "tell": ["learn", "tap"]})
        while served.server.counts()["clients"] > 1:
            answer(last, {"id": 2, "tell": ["status"]})
        answer(last, {"id": 3, "tell": ["learn", "tempo", "90"]})
        assert not served.fake.ended.is_set()
        last.socket.shutdown(SHUT_WR)
        assert served.fake.ended.wait(PATIENCE_S)
        told = list(served.fake.told)
    learnt = [StepStyle(1), Tap(), ChooseTempo(90.0)]
    assert told == [*(Learn(do) for do in learnt), StopLearning()]


def test_what_the_server_counts_is_told_with_the_status(served: Served) -> None:
    with Raw(served.endpoint).greet() as raw:
        assert code(answer(raw, b"no line\n")) == (None, "bad-line")
        counts = answer(raw, {"id": 1, "tell": ["status"]})["done"]["counts"]
    assert counts == STATUS.counts | {"bad_lines": 1}
