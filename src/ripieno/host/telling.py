"""The status of a daemon, put together from those who know its parts."""

from collections.abc import Iterable
from typing import Protocol

from ripieno.engine.messages import Answer, Ports, Ready
from ripieno.host.controls import Controls
from ripieno.host.sessions import Sessions
from ripieno.perform.chord_on import Harmony
from ripieno.perform.chosen import Chosen
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
    def restarts(self) -> int: ...


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
    engine, harmony, learning = kept.engine, kept.harmony, controls.learning
    settings, key = chosen.settings, chosen.settings.key
    shown = None if answer is None else answer.shown
    ports = None if engine is None else engine.ports
    place = None if shown is None else shown.bar_and_beat
    return Status(
        style=chosen.style.id,
        style_name=chosen.style.name,
        bpm=settings.bpm if shown is None else shown.bpm,
        meter=str(settings.meter),
        key=None if key is None else str(key),
        hold=settings.hold,
        split=settings.split,
        transpose=settings.transpose,
        channel=settings.channel + 1,
        reading=settings.reading.value,
        swing="by-tempo" if settings.swing is None else str(settings.swing),
        follow=settings.follow.value,
        lean=settings.lean,
        clock="" if shown is None else shown.clock,
        starting=settings.start.value,
        pickup=settings.pickup,
        send_clock=settings.send_clock,
        counting=shown is not None and shown.counting,
        ending=shown is not None and shown.ending,
        waiting=shown is not None and shown.waiting,
        chord=None if shown is None else shown.chord,
        degree=None if key is None or harmony is None else roman(harmony.chord, key),
        bar=None if place is None else place[0],
        beat=None if place is None else place[1],
        quarters=None
        if shown is None or shown.place_quarters is None
        else float(shown.place_quarters),
        bar_quarters=float(settings.meter.bar_quarters),
        serial=0 if shown is None else shown.serial,
        keys=() if shown is None else shown.keys,
        left=() if shown is None else shown.left,
        right=() if shown is None else shown.right,
        sounding=() if shown is None else shown.sounding,
        pedal=shown is not None and shown.pedal,
        muted=None if settings.muted is None else settings.muted.value,
        hearing=hearing,
        input="" if ports is None else ports.input.name,
        output="" if ports is None else ports.output.name,
        input_why=kept.why if ports is None else ports.input.why,
        output_why=kept.why if ports is None else ports.output.why,
        engine="lost" if engine is None else "playing",
        restarts=kept.restarts,
        scheduling="" if engine is None else engine.ready.scheduling,
        counts=_counts(answer, unkept=0 if sessions is None else sessions.dropped),
        learning=None if learning is None else words_of(learning),
        controls=tuple(ControlStatus(str(c.press), c.do) for c in controls.all),
        journal=_journal(sessions),
        notices=tuple(notices),
        uptime_s=uptime_s,
    )


def _journal(sessions: Sessions | None) -> str | None:
    path = None if sessions is None else sessions.path
    return None if path is None else str(path)


def _counts(answer: Answer | None, *, unkept: int) -> dict[str, int]:
    """What went by in this engine; nothing while there is none that answers."""
    if answer is None:
        return {}
    counts = answer.counts
    return {
        "received": counts.received,
        "sent": counts.sent,
        "failed": counts.failed,
        "flooded": counts.flooded,
        "late": counts.late,
        "latest_us": counts.latest_ns // 1000,
        "lost_inputs": answer.lost_inputs,
        "unheard": answer.unheard,
        "dropped_news": answer.dropped_news,
        "unkept": unkept,
    }
