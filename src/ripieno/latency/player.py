"""The player: sends probes at their times, and sees to it that the run cannot hang.

It waits for no answer but the first; what came back is matched with what was sent afterwards.
"""

import time
from collections.abc import Iterable
from dataclasses import dataclass, field

from ripieno.errors import MachineError
from ripieno.latency.figures import (
    BARE,
    PASS_THROUGH,
    SCHEDULING,
    SPREAD_FIRST,
    SPREAD_LAST,
    STRIKE_FIRST,
    STRIKE_LAST,
    TRIP_FIRST,
    TRIP_LAST,
    TRIP_PASS,
    Sample,
)
from ripieno.latency.ground import Ground, Way
from ripieno.latency.plan import (
    MELODY_CHANNEL,
    SPLIT,
    SPREAD_VELOCITY,
    UNUSED_CONTROLLER,
    Kind,
    Probe,
)
from ripieno.latency.stream import Listener
from ripieno.latency.trips import Passed, answers, echoes
from ripieno.perform.message import NOTE_ON, control
from ripieno.units import NS_PER_S

_FIRST_S = 5.0  # a port that has just been connected may lose its first messages
_FIRST_APART_S = 0.1
_SILENT_AT_MOST = 30  # probes without anything back


@dataclass(slots=True)
class Found:
    """All samples of a run, in time, and how many of a figure's probes were never answered.

    `note_ons` that the engine's output took, and `back`, how many of them came back here; None
    where they do not come back.
    """

    samples: list[Sample] = field(default_factory=list)
    lost: dict[str, int] = field(default_factory=dict)
    note_ons: int = 0
    back: int | None = None


class Player:
    """Plays on one ground. After `play`, `found` says what came of it."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._sent: dict[Kind, list[Passed]] = {kind: [] for kind in Kind}
        self._strikes = Listener(split=SPLIT, spread_velocity=SPREAD_VELOCITY)
        self._figure = Listener(split=SPLIT, spread_velocity=None)
        self._chords: list[Passed] = []  # last keys of those that a note answers at once
        self._heard = 0  # things that the engine has said
        self._silent: dict[bool, int] = {True: 0, False: 0}  # probes, by whether they are bare
        self._seen: dict[bool, int] = {True: 0, False: 0}

    def wait_until_open(self) -> None:
        """Sends on both ways until something comes back. Raises MachineError."""
        self._until_back(bare=True)
        if self._ground.engine is not None:
            self._until_back(bare=False)

    def _until_back(self, *, bare: bool) -> None:
        """An unused controller goes through the engine as it is, and so it does elsewhere."""
        way = self._ground.bare if bare else self._ground.keys
        assert way is not None, "an engine has keys"
        before, deadline = self._count(bare=bare), time.monotonic() + _FIRST_S
        while self._count(bare=bare) == before:
            self._check_engine()
            if time.monotonic() > deadline:
                raise MachineError(f"{self._name(bare=bare)}: nothing has come back for 5 s")
            way.send(control(MELODY_CHANNEL, UNUSED_CONTROLLER, 0))
            time.sleep(_FIRST_APART_S)
            if self._ground.engine is not None:
                self._heard += len(self._ground.engine.news())

    def play(self, probes: Iterable[Probe], *, figure: bool) -> None:
        """All probes, at their times. `figure`: one is running, and chords wait for its steps."""
        for probe in probes:
            time.sleep(probe.gap_ns / NS_PER_S)
            self._hear(figure=figure)
            self._send(probe, figure=figure)
            self._watch(probe)

    def hear_rest(self, *, figure: bool) -> None:
        """After the last probe, once its answers have come."""
        time.sleep(0.2)
        self._hear(figure=figure)

    def _send(self, probe: Probe, *, figure: bool) -> None:
        way: Way | None = self._ground.bare if probe.kind is Kind.BARE else self._ground.keys
        assert way is not None, "probes of a kind are played where they can be"
        start_ns = time.monotonic_ns()
        for number, (after_ns, data) in enumerate(probe.messages):
            if after_ns:
                time.sleep(max(0, start_ns + after_ns - time.monotonic_ns()) / NS_PER_S)
            at_ns = time.monotonic_ns()
            way.send(data)
            if number == probe.measured:
                self._note(probe.kind, Passed(at_ns, data), figure=figure)

    def _note(self, kind: Kind, passed: Passed, *, figure: bool) -> None:
        if kind in (Kind.TOGETHER, Kind.SPREAD):
            if figure:
                return
            self._chords.append(passed)
        self._sent[kind].append(passed)

    def _hear(self, *, figure: bool) -> None:
        self._check_engine()
        if self._ground.engine is not None:
            news = self._ground.engine.news()
            self._heard += len(news)
            (self._figure if figure else self._strikes).hear(news)

    def _check_engine(self) -> None:
        if self._ground.engine is not None and not self._ground.engine.is_running:
            raise MachineError("the engine has ended in the middle of the run")

    def _watch(self, probe: Probe) -> None:
        """Raises MachineError when a way has become silent: its other end is gone."""
        bare = probe.kind is Kind.BARE
        count = self._count(bare=bare)
        self._silent[bare] = self._silent[bare] + 1 if count == self._seen[bare] else 0
        self._seen[bare] = count
        if self._silent[bare] > _SILENT_AT_MOST:
            raise MachineError(
                f"{self._name(bare=bare)}: nothing came back for {_SILENT_AT_MOST} messages; "
                "is the MIDI system still there?"
            )

    def _count(self, *, bare: bool) -> int:
        """How much has come back so far."""
        if bare:
            return len(self._ground.bare_back)
        return len(self._ground.back) if self._ground.trips else self._heard

    @staticmethod
    def _name(*, bare: bool) -> str:
        return "the bare path" if bare else "the engine"

    def found(self) -> Found:
        """What came of it. May be asked once, at the end."""
        found = Found()
        self._add_bare(found)
        if self._ground.engine is not None:
            self._add_engine(found)
            if self._ground.trips:
                self._add_trips(found)
        found.samples.sort(key=lambda sample: sample.at_ns)
        return found

    def _add_bare(self, found: Found) -> None:
        trips = echoes(BARE, self._sent[Kind.BARE], self._ground.bare_back)
        found.samples += trips.samples
        found.lost[BARE] = trips.lost

    def _add_engine(self, found: Found) -> None:
        for listener, wanted in (
            (self._strikes, {STRIKE_FIRST, STRIKE_LAST, SPREAD_FIRST, SPREAD_LAST, PASS_THROUGH}),
            (self._figure, {PASS_THROUGH, SCHEDULING}),
        ):
            listener.close()
            found.samples += [s for s in listener.samples if s.figure in wanted]
            found.note_ons += listener.note_ons
        sent = {
            STRIKE_FIRST: len(self._sent[Kind.TOGETHER]),
            STRIKE_LAST: len(self._sent[Kind.TOGETHER]),
            SPREAD_FIRST: len(self._sent[Kind.SPREAD]),
            SPREAD_LAST: len(self._sent[Kind.SPREAD]),
            PASS_THROUGH: len(self._sent[Kind.MELODY]),
        }
        for figure, count in sent.items():
            answered = sum(sample.figure == figure for sample in found.samples)
            found.lost[figure] = max(0, count - answered)

    def _add_trips(self, found: Found) -> None:
        back = list(self._ground.back)
        chords = answers([passed.at_ns for passed in self._chords], back, channel=0)
        melody = echoes(TRIP_PASS, self._sent[Kind.MELODY], back)
        found.samples += [*chords.samples, *melody.samples]
        found.lost |= {TRIP_FIRST: chords.lost, TRIP_LAST: chords.lost, TRIP_PASS: melody.lost}
        found.back = sum(passed.data[0] & 0xF0 == NOTE_ON for passed in back)
