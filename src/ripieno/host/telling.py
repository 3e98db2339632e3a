"""The status of a daemon, put together from those who know its parts."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Protocol

from ripieno.engine.messages import Answer, Ports, Ready
from ripieno.host.controls import Controls
from ripieno.host.counting import Counted
from ripieno.host.sessions import Sessions
from ripieno.perform.chord_on import Harmony
from ripieno.perform.chosen import Chosen
from ripieno.perform.snapshot import Snapshot
from ripieno.theory.numerals import roman
from ripieno.wire.command import words_of
from ripieno.wire.status import ControlStatus, Status


class Plays(Protocol):
    """An engine that plays."""

    @property
    def ready(self) -> Ready: ...
    @property
    def ports(self) -> Ports: ...


class Kept(Protocol):
    """An engine that is replaced when it ends; see `upkeep.KeptEngine`."""

    @property
    def engine(self) -> Plays | None: ...
    @property
    def harmony(self) -> Harmony | None: ...
    @property
    def why(self) -> str: ...
    @property
    def cause(self) -> str: ...
    @property
    def restarts(self) -> int: ...
    @property
    def renewals(self) -> int: ...

    def counts(self, answer: Answer | None) -> Counted: ...


def status_of(
    chosen: Chosen,
    kept: Kept,
    answer: Answer | None,
    controls: Controls,
    sessions: Sessions | None,
    *,
    hearing: str | None,
    notices: Iterable[str],
    uptime_s: float,
) -> Status:
    """`answer` is the engine's; None while there is none, or none that answers."""
    learning, counts = controls.learning, kept.counts(answer)
    if counts:
        counts = counts | {"unkept": 0 if sessions is None else sessions.dropped}
    status = replace(
        _silent(chosen),
        degree=_degree(chosen, kept.harmony),
        hearing=hearing,
        counts=counts,
        learning=None if learning is None else words_of(learning),
        controls=tuple(ControlStatus(str(c.press), c.do) for c in controls.all),
        journal=_journal(sessions),
        notices=tuple(notices),
        uptime_s=uptime_s,
    )
    status = _with_engine(status, kept)
    shown = None if answer is None else answer.shown
    return status if shown is None else _with_shown(status, shown)


def _silent(chosen: Chosen) -> Status:
    """What is chosen, while there is no engine and nothing plays."""
    settings = chosen.settings
    return Status(
        style=chosen.style.id,
        style_name=chosen.style.name,
        bpm=settings.bpm,
        meter=str(settings.meter),
        key=None if settings.key is None else str(settings.key),
        hold=settings.hold,
        split=settings.split,
        transpose=settings.transpose,
        channel=settings.channel + 1,
        reading=settings.reading.value,
        swing="by-tempo" if settings.swing is None else str(settings.swing),
        follow=settings.follow.value,
        lean=settings.lean,
        clock="",
        starting=settings.start.value,
        pickup=settings.pickup,
        send_clock=settings.send_clock,
        counting=False,
        ending=False,
        waiting=False,
        chord=None,
        degree=None,
        bar=None,
        beat=None,
        quarters=None,
        bar_quarters=float(settings.meter.bar_quarters),
        serial=0,
        keys=(),
        left=(),
        right=(),
        sounding=(),
        pedal=False,
        muted=None if settings.muted is None else settings.muted.value,
        hearing=None,
        input="",
        output="",
        input_why="",
        output_why="",
        engine="lost",
        restarts=0,
        scheduling="",
        counts={},
        learning=None,
        controls=(),
        journal=None,
        notices=(),
        uptime_s=0.0,
    )


def _with_engine(status: Status, kept: Kept) -> Status:
    status = replace(status, restarts=kept.restarts, renewals=kept.renewals, last_end=kept.cause)
    engine = kept.engine
    if engine is None:
        return replace(status, input_why=kept.why, output_why=kept.why)
    return replace(
        status,
        input=engine.ports.input.name,
        output=engine.ports.output.name,
        input_why=engine.ports.input.why,
        output_why=engine.ports.output.why,
        engine="playing",
        scheduling=engine.ready.scheduling,
        memory=engine.ready.memory,
        system=engine.ports.system.name,
    )


def _with_shown(status: Status, shown: Snapshot) -> Status:
    bar, beat = shown.bar_and_beat or (None, None)
    quarters = shown.place_quarters
    return replace(
        status,
        bpm=shown.bpm,
        clock=shown.clock,
        counting=shown.counting,
        ending=shown.ending,
        waiting=shown.waiting,
        chord=shown.chord,
        bar=bar,
        beat=beat,
        quarters=None if quarters is None else float(quarters),
        serial=shown.serial,
        keys=shown.keys,
        left=shown.left,
        right=shown.right,
        sounding=shown.sounding,
        pedal=shown.pedal,
    )


def _degree(chosen: Chosen, harmony: Harmony | None) -> str | None:
    key = chosen.settings.key
    return None if key is None or harmony is None else roman(harmony.chord, key)


def _journal(sessions: Sessions | None) -> str | None:
    path = None if sessions is None else sessions.path
    return None if path is None else str(path)
