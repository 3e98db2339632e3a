"""A daemon's control server around a host of ten lines, and where it listens.

with serving(tmp_path) as served:
    Client(served.endpoint)

`STATUS` is what it says of itself; `served.fake.told` what it has been told.
"""

import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Event

from ripieno.host.control import LIMITS, ControlServer, Limits
from ripieno.link.endpoint import Endpoint, Kind
from ripieno.wire.command import Command, Learn, StopLearning, words_of
from ripieno.wire.status import ControlStatus, Status
from ripieno.wire.time_commands import ChooseTempo

PATIENCE_S = 30

# What the server counts itself, while nobody does wrong.
COUNTED = dict.fromkeys(("clients_refused", "clients_dropped", "bad_lines", "control_faults"), 0)

STATUS = Status(
    style="waltz", style_name="Waltz", bpm=94.5, meter="3/4", key="E minor", hold=True, split=60,
    transpose=-3, channel=1, reading="played", swing="1", follow="none",
    lean=50, clock="", starting="strike", pickup=0, send_clock=False, counting=False,
    ending=False, waiting=False, chord="Em", degree="i", bar=12, beat=2,
    quarters=1.25, bar_quarters=3.0, serial=40, keys=(52, 55, 59), muted=None, hearing=None,
    left=(40,), right=(59, 64), sounding=(40, 59, 64), pedal=True, input="Keys", output="",
    input_why="the only one", output_why="'Piano' is not there", engine="playing", restarts=1,
    scheduling="real time", counts={"received": 7, "lost_inputs": 0, **COUNTED}, learning=None,
    controls=(ControlStatus("controller 20 on channel 1", ("style", "waltz")),),
    journal="/tmp/x.jsonl", notices=("the disk is full",), uptime_s=3725.5,
    system="ALSA", memory="locked", renewals=1, last_end="the engine was begun anew",
)  # fmt: skip


@dataclass
class Fake:
    """What is controlled: it keeps what it is told, and raises `error` if there is one.

    `ended` is set when learning was ended, by whomever.
    """

    told: list[Command] = field(default_factory=list)
    error: BaseException | None = None
    now: Status = STATUS
    ended: Event = field(default_factory=Event)

    def carry_out(self, command: Command, value: int | None = None) -> dict[str, object]:  # noqa: ARG002
        self.told.append(command)
        if self.error is not None:
            raise self.error
        match command:
            case Learn(do):
                self.now = replace(self.now, learning=words_of(do))
            case StopLearning():
                self.now = replace(self.now, learning=None)
                self.ended.set()
            case ChooseTempo(bpm):
                self.now = replace(self.now, bpm=bpm)
                return {"bpm": bpm}
        return {"told": list(words_of(command))}

    def status(self) -> Status:
        return self.now


@dataclass(frozen=True, slots=True)
class Served:
    server: ControlServer
    endpoint: Endpoint
    fake: Fake


@contextmanager
def serving(
    folder: Path, fake: Fake | None = None, kind: Kind = Kind.UNIX, limits: Limits = LIMITS
) -> Iterator[Served]:
    """A server that answers, in a folder of its own inside `folder`."""
    endpoint = Endpoint(folder / "run", kind)
    fake = Fake() if fake is None else fake
    with ControlServer(endpoint, fake, limits) as server:
        yield Served(server, endpoint, fake)


class Raw:
    """A connection on which a test writes what it likes."""

    def __init__(self, endpoint: Endpoint) -> None:
        connection = endpoint.connect(PATIENCE_S)
        self.socket, self.token = connection.socket, connection.token
        self.file = self.socket.makefile("rb")

    def write(self, *lines: object) -> None:
        """Bytes as they are, anything else as a line of JSON."""
        for line in lines:
            data = line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n"
            self.socket.sendall(data)

    def read(self) -> dict[str, object]:
        return json.loads(self.file.readline())

    def greet(self) -> "Raw":
        token = {} if self.token is None else {"token": self.token}
        self.write({"ripieno": 1, "program": "a test's", **token})
        assert self.read()["ripieno"] == 1
        return self

    def is_closed(self) -> bool:
        """Whether there is nothing more to come; waits for what comes."""
        try:
            return self.file.read(1) == b""
        except ConnectionResetError:
            return True

    def __enter__(self) -> "Raw":
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()
        self.socket.close()


def other_user(path: Path) -> None:
    """Gives a file to nobody; only root can."""
    os.chown(path, 65534, 65534)


def dead_socket(path: Path) -> None:
    """A socket's file that a killed daemon has left."""
    left = socket.socket(socket.AF_UNIX)
    left.bind(str(path))
    left.close()
