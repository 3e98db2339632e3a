"""The paths through a MIDI system: engine and echo as processes of their own, or a cable."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from threading import Timer

from ripieno.engine.messages import Begin
from ripieno.engine.rig import Rig
from ripieno.engine.spawn import command_of
from ripieno.errors import MachineError
from ripieno.host.engine_process import EngineProcess
from ripieno.latency.ground import Ground, Way, undisturbed
from ripieno.latency.trips import Passed
from ripieno.midi import ports
from ripieno.midi.memory import Receive
from ripieno.midi.systems import System
from ripieno.perform.settings import Settings
from ripieno.style.model import Style

_BEGIN_S = 10.0  # until a program of a few lines has its ports
_END_S = 5.0


@contextmanager
def opened(system: System, settings: Settings, style: Style) -> Iterator[Ground]:
    """An engine and an echo on virtual ports, each connected to ports of ours. MachineError."""
    if not system.virtual:
        raise MachineError(
            f"{system.name} has no virtual ports: measure with --path cable, or "
            f"--path in-process without any MIDI system"
        )
    with ExitStack() as stack:
        ours, engines, echo = (_client(system, part) for part in ("harness", "engine", "echo"))
        rig = Rig(engines, ports.VIRTUAL, ports.VIRTUAL)
        engine = stack.enter_context(EngineProcess(Begin(settings, style, rig)))
        stack.enter_context(_echo(echo))
        ground = Ground(bare=_unconnected, engine=engine, trips=True)
        ground.about = {"system": system.name, "period": period(system)} | granted(engine)
        _connect_back(stack, ours, engines, ground.back)
        ground.keys = _connect(stack, ours, engines)
        _connect_back(stack, ours, echo, ground.bare_back)
        ground.bare = _connect(stack, ours, echo)
        stack.enter_context(undisturbed())
        yield ground


@contextmanager
def cable(system: System, output: str, source: str) -> Iterator[Ground]:
    """From an output through whatever connects it to an input. Raises MachineError."""
    ours = _client(system, "harness")
    back: list[Passed] = []
    with ports.open_input(ours, source, _keeping(back)) as heard:
        ports.pause(ours)
        with ports.open_output(ours, output) as out, undisturbed():
            about = {
                "system": system.name,
                "period": period(system),
                "output": out.name,
                "input": heard.name,
            }
            yield Ground(bare=out, bare_back=back, about=about)


class _Unconnected:
    def send(self, data: bytes) -> None:
        raise AssertionError(f"sent before it was connected: {data.hex(' ')}")


_unconnected = _Unconnected()


def _client(system: System, part: str) -> System:
    """The system under a name that no other program has, nor a part of another's name."""
    return replace(system, client=f"latency-{os.getpid()}-{part}")


@contextmanager
def _echo(system: System) -> Iterator[None]:
    """An echo that runs, and says when its ports are there. Raises MachineError.

    Nobody may look for its ports before: see `ports.pause`.
    """
    command = command_of("ripieno.latency.echo", str(system.api), system.client)
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, start_new_session=True) as echo:
        assert echo.stdin is not None
        assert echo.stdout is not None
        patience = Timer(_BEGIN_S, echo.kill)
        patience.start()
        try:
            began = echo.stdout.readline()
            patience.cancel()
            if not began:
                raise MachineError("the bare path's echo did not begin")
            yield
        finally:
            patience.cancel()
            echo.stdin.close()
            try:
                echo.wait(timeout=_END_S)
            except subprocess.TimeoutExpired:  # closing may wait for a MIDI server that is gone
                echo.kill()


def _connect(stack: ExitStack, ours: System, other: System) -> Way:
    ports.pause(ours)
    out = ports.open_output(ours, other.client)
    stack.callback(out.close)
    return out


def _connect_back(stack: ExitStack, ours: System, other: System, back: list[Passed]) -> None:
    ports.pause(ours)
    heard = ports.open_input(ours, other.client, _keeping(back))
    stack.callback(heard.close)


def _keeping(back: list[Passed]) -> Receive:
    return lambda data, at_ns: back.append(Passed(at_ns, data))


def granted(engine: EngineProcess) -> dict[str, str]:
    """What the engine says that it was granted: `real-time scheduling: granted`."""
    pairs = (sentence.partition(": ") for sentence in engine.said)
    names = {"real-time scheduling": "scheduling", "locked memory": "memory"}
    return {names[name]: value for name, _, value in pairs if name in names}


def period(system: System) -> str:
    """JACK's audio period, in words; `unknown` where its own tools are not there to ask."""
    if system.name != "JACK":
        return "none"
    frames, rate = _asked("jack_bufsize"), _asked("jack_samplerate")
    if frames is None or rate is None:
        return "unknown"
    return f"{frames} frames at {rate} Hz, {1000 * frames / rate:.2f} ms"


def _asked(tool: str) -> int | None:
    """The first number above 0 that a tool of JACK's prints."""
    path = shutil.which(tool)
    if path is None:
        return None
    try:
        answer = subprocess.run([path], capture_output=True, text=True, timeout=5, check=False)
    except subprocess.TimeoutExpired:
        return None
    numbers = (int(word) for word in answer.stdout.split() if word.isdecimal())
    return next((number for number in numbers if number), None)
