"""What a run plays on: a way in, a way back, and an engine or none between them."""

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Protocol

from ripieno.engine.loop import SWITCH_INTERVAL_S, Timed
from ripieno.engine.messages import Answer, Ready
from ripieno.engine.realtime import hold_garbage
from ripieno.latency.trips import Passed
from ripieno.perform.events import Input


class EngineLike(Protocol):
    """The engine that is measured, in this process or in its own."""

    def submit(self, event: Input) -> None: ...
    def news(self) -> list[Timed]: ...
    def ask(self) -> Answer: ...
    @property
    def ready(self) -> Ready: ...
    @property
    def is_running(self) -> bool: ...


class Way(Protocol):
    """Takes a message; it must not wait."""

    def send(self, data: bytes) -> None: ...


@dataclass(slots=True)
class Ground:
    """`back` and `bare_back` fill by themselves, from other threads.

    `engine` and `keys` are None on a path without an engine. `about` says what was found and
    granted, by name. `trips`: whether what the engine sends comes back here.
    """

    bare: Way
    engine: EngineLike | None = None
    keys: Way | None = None
    trips: bool = False
    back: list[Passed] = field(default_factory=list)
    bare_back: list[Passed] = field(default_factory=list)
    about: dict[str, str] = field(default_factory=dict)


@contextmanager
def undisturbed() -> Iterator[None]:
    """This process's threads take turns as quickly as the engine's, and no garbage is collected.

    A harness that is late for a JACK period loses what the period held, and blames the engine.
    """
    before = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    hold_garbage()
    try:
        yield
    finally:
        gc.unfreeze()
        gc.enable()
        sys.setswitchinterval(before)
