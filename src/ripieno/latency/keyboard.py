"""The path of a real keyboard: the user presses chords, the engine answers, both are measured."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from ripieno.engine.loop import Timed
from ripieno.engine.messages import Begin
from ripieno.engine.rig import Rig
from ripieno.errors import MachineError
from ripieno.host.engine_process import EngineProcess
from ripieno.latency.figures import STRIKE_FIRST, STRIKE_LAST, Sample
from ripieno.latency.midi_system import granted, period
from ripieno.latency.player import Found
from ripieno.latency.stream import Listener
from ripieno.midi.systems import System
from ripieno.perform.settings import Settings
from ripieno.style.model import Style

_LOOK_S = 0.05


@contextmanager
def opened(rig: Rig, settings: Settings, style: Style) -> Iterator[EngineProcess]:
    """An engine that plays what comes from a keyboard. Raises MachineError."""
    assert rig.system is not None, "who measures says on which system"
    if rig.system.api is None:
        raise MachineError(f"there is no keyboard to measure: {rig.system.why}")
    with EngineProcess(Begin(settings, style, rig)) as engine:
        for state in (engine.ports.input, engine.ports.output):
            if not state.name:
                raise MachineError(state.why)
        yield engine


def setup(engine: EngineProcess, system: System) -> dict[str, str]:
    ports = (s.partition(": ") for s in engine.said if s.startswith(("input: ", "output: ")))
    about = {"system": system.name, "period": period(system)} | granted(engine)
    return about | {name: value for name, _, value in ports}


def measure(engine: EngineProcess, strikes: int | None, show: Callable[[Sample], None]) -> Found:
    """Until so many chords have been answered, or Ctrl-C. `show` gets each answer at once.

    Raises MachineError when the engine has ended.
    """
    listener = Listener(split=None, spread_velocity=None)
    shown = answered = 0
    try:
        while strikes is None or answered < strikes:
            if not engine.is_running:
                raise MachineError("the engine has ended in the middle of the run")
            time.sleep(_LOOK_S)
            listener.hear(engine.news())
            for sample in listener.samples[shown:]:
                if sample.figure == STRIKE_FIRST:
                    answered += 1
                    show(sample)
            shown = len(listener.samples)
    except KeyboardInterrupt:
        pass  # the way to end it
    engine.close()
    return _found(listener, engine.news())


def _found(listener: Listener, rest: list[Timed]) -> Found:
    listener.hear(rest)
    listener.close()
    samples = sorted(listener.samples, key=lambda sample: sample.at_ns)
    lost = dict.fromkeys((STRIKE_FIRST, STRIKE_LAST), listener.unanswered)
    return Found(samples, lost, listener.note_ons)
