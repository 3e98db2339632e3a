"""What the engine is connected to."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import Protocol

from ripieno.engine.loop import Output
from ripieno.midi import ports
from ripieno.midi.soundfont import find_soundfont
from ripieno.midi.synth import Synth
from ripieno.midi.systems import System, choose


@dataclass(frozen=True, slots=True)
class Rig:
    """Where keys come from and notes go: a port's name or a part of it, `virtual`, or None.

    None takes the likeliest port; for an output with `sound`, none besides the synthesizer.
    The `system` None is the one that answers, once one does.
    """

    system: System | None
    input: str | None = None
    output: str | None = None
    sound: bool = False


class _Opened(Protocol):
    """An output that has been opened, and why it was that one."""

    name: str
    why: str

    def send(self, data: bytes) -> None: ...
    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Both:
    """A port and a synthesizer fed alike."""

    first: Output
    second: Output

    def send(self, data: bytes) -> None:
        try:
            self.first.send(data)
        finally:
            self.second.send(data)


@contextmanager
def opened_output(rig: Rig) -> Iterator[tuple[Output, list[str]]]:
    """The rig's output, with a sentence on each part of it. Raises MachineError."""
    with ExitStack() as stack:
        outputs: list[_Opened] = []
        said: list[str] = []
        if rig.sound:
            font, why = find_soundfont()
            outputs.append(Synth(font))
            stack.callback(outputs[-1].close)
            said.append(f"sound font: {why}")
        if rig.output is not None or not rig.sound:
            outputs.append(ports.open_output(rig.system or choose(), rig.output))
            stack.callback(outputs[-1].close)
        said += [f"output: {output.name} ({output.why})" for output in outputs]
        yield (outputs[0] if len(outputs) == 1 else Both(*outputs)), said
