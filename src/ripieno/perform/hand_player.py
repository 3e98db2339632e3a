"""One hand: it follows its lane's grid and binds each step to a pitch only when it is due.

A step that strikes makes a `Group`: the notes that sound for it until its end. What a chord
change does to a group is one of three things:

- *replace*: notes that do not belong are released and replaced, common ones go on. For a step
  caught late, a strike amended, a suspension resolved: it is the same step, put right.
- *strike again*: the whole group, at the next place of the grid. For notes held over from
  before the change: a player who changes chord plays the new one.
- *release*: a lane that begins with the strike starts over.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from random import Random

from ripieno.arrange.dynamics import struck
from ripieno.arrange.voicing import HandVoicing, place
from ripieno.perform.outbox import Outbox
from ripieno.perform.transport import Transport, swung
from ripieno.style.model import Begin, Lane, Step, Touch
from ripieno.theory.hand import Side
from ripieno.units import NS_PER_MS, ns_from_ms

# A chord this late after a step still corrects it, if half the step has not gone by: within
# it fall nine in ten spreads of a two-hand chord (58 ms, Vienna 4x22, measured) and the 22 ms
# that a leading hand runs ahead. Later than that the step was meant with the old chord.
LATE_CATCH_NS = 80 * NS_PER_MS


@dataclass(frozen=True, slots=True)
class Bound:
    """What the hand's tones are just now. `serial` counts the player's strikes."""

    serial: int
    shape: HandVoicing
    level: int  # the player's velocity, 1..127


@dataclass(slots=True, eq=False)
class Group:
    """The notes of one struck step; `ends_*` None: until the lane starts over."""

    step: Step
    serial: int
    struck_ns: int
    ends_quarters: Fraction | None
    ends_ns: int | None
    notes: list[int] = field(default_factory=list)
    rolling: list[tuple[int, int]] = field(default_factory=list)  # (due_ns, note), ascending


class HandPlayer:
    """Plays one lane of one hand. Silent until `start`."""

    def __init__(
        self,
        side: Side,
        lane: Lane,
        touch: Touch,
        swing: tuple[Fraction, Fraction] | None,
        luck: Random,
    ) -> None:
        self.side = side
        self.lane = lane
        self._touch = touch
        self._swing = swing if swing and _divides_in_two(lane.every_quarters, swing[0]) else None
        self._luck = luck
        self._origin = Fraction(0)
        self._next = 0
        self._next_ns: int | None = None
        self._last_ns: int | None = None
        self.groups: list[Group] = []

    def start(self, transport: Transport, origin_quarters: Fraction, at_or_after: Fraction) -> None:
        """Count the cycle from `origin_quarters`; the first step is at or after a position."""
        self._origin = origin_quarters
        gone = (at_or_after - origin_quarters) / self.lane.every_quarters
        self._next = max(0, -(-gone.numerator // gone.denominator))
        self._last_ns = None
        self._plan(transport)

    def retime(self, transport: Transport) -> None:
        """The tempo has changed: the same places are due at other instants."""
        self._plan(transport)
        for group in self.groups:
            if group.ends_quarters is not None:
                group.ends_ns = transport.due_ns(group.ends_quarters)

    @property
    def step_due_ns(self) -> int | None:
        """When the next place of the grid is due."""
        return self._next_ns

    @property
    def note_due_ns(self) -> int | None:
        """When the next note ends, or the next of a rolled chord is due."""
        ends = [group.ends_ns for group in self.groups if group.ends_ns is not None]
        rolls = [group.rolling[0][0] for group in self.groups if group.rolling]
        return min(ends + rolls, default=None)

    def end_notes(self, now_ns: int, out: Outbox) -> None:
        """Release what ends at or before an instant."""
        ended = [g for g in self.groups if g.ends_ns is not None and g.ends_ns <= now_ns]
        for group in ended:
            self._release(group, out)

    def roll_on(self, now_ns: int, bound: Bound, out: Outbox) -> None:
        """Strike the notes of rolled chords that are due."""
        for group in self.groups:
            while group.rolling and group.rolling[0][0] <= now_ns:
                self._sound(group, [group.rolling.pop(0)[1]], bound, out)

    def leave(self) -> None:
        """Another lane takes over: what sounds may end in its time, nothing more is struck."""
        self._next_ns = None
        for group in self.groups:
            group.rolling = []

    def release_all(self, out: Outbox) -> None:
        for group in list(self.groups):
            self._release(group, out)

    def step(self, now_ns: int, transport: Transport, bound: Bound | None, out: Outbox) -> None:
        """Play the place of the grid that is due; without a chord it goes by in silence."""
        step = self._step_at(self._next)
        ends = self._end_of(self._next)
        self._last_ns = now_ns
        self._next += 1
        self._plan(transport)
        if bound is None:
            return
        self._strike_stale_again(now_ns, bound, out)
        if step.plays:
            self._strike_step(step, now_ns, ends, transport, bound, out)

    def catch(self, now_ns: int, transport: Transport, bound: Bound, out: Outbox) -> None:
        """The chord has changed: put the last step right if it is no more than just past."""
        if self._last_ns is None or now_ns - self._last_ns > self._tolerance_ns(transport):
            return
        last, last_ns = self._next - 1, self._last_ns
        step = self._step_at(last)
        missed = bool(step.plays) and not any(g.struck_ns == last_ns for g in self.groups)
        for group in self.groups:
            if group.serial != bound.serial and group.struck_ns == last_ns:
                self.replace(group, bound, out)
        self._strike_stale_again(now_ns, bound, out)
        if missed:
            self._strike_step(step, now_ns, self._end_of(last), transport, bound, out)

    def amend(self, bound: Bound, out: Outbox) -> None:
        """Put right every group that belongs to the same strike."""
        for group in self.groups:
            if group.serial == bound.serial:
                self.replace(group, bound, out)

    def replace(self, group: Group, bound: Bound, out: Outbox) -> None:
        """Release what does not belong, strike what is missing, let the rest go on."""
        wanted = _notes(group.step, bound.shape)
        waiting = {note for _, note in group.rolling}
        for note in [note for note in group.notes if note not in wanted]:
            group.notes.remove(note)
            out.release(group, note, replaced=True)
        group.rolling = [roll for roll in group.rolling if roll[1] in wanted]
        group.serial = bound.serial
        self._sound(
            group, [n for n in wanted if n not in group.notes and n not in waiting], bound, out
        )

    def _plan(self, transport: Transport) -> None:
        done = not self.lane.repeats and self._next >= len(self.lane.steps)
        self._next_ns = None if done else transport.due_ns(self._place(self._next))

    def _place(self, step: Fraction | int) -> Fraction:
        gone = step * self.lane.every_quarters
        return self._origin + (swung(gone, *self._swing) if self._swing else gone)

    def _step_at(self, index: int) -> Step:
        return self.lane.steps[index % len(self.lane.steps)]

    def _end_of(self, index: int) -> Fraction | None:
        """Where the notes of the step at `index` end; None if they stay till the next strike."""
        step = self._step_at(index)
        if not self.lane.repeats and index + step.lasts >= len(self.lane.steps):
            return None
        return self._place(index + step.lasts * self.lane.length)

    def _tolerance_ns(self, transport: Transport) -> int:
        half_step = self.lane.every_quarters * transport.ns_per_quarter / 2
        return min(LATE_CATCH_NS, int(half_step))

    def _strike_stale_again(self, now_ns: int, bound: Bound, out: Outbox) -> None:
        for group in self.groups:
            if group.serial != bound.serial:
                for note in group.notes:
                    out.release(group, note)
                group.notes, group.rolling, group.serial = [], [], bound.serial
                self._begin(group, now_ns, bound, out)

    def _strike_step(
        self,
        step: Step,
        now_ns: int,
        ends: Fraction | None,
        transport: Transport,
        bound: Bound,
        out: Outbox,
    ) -> None:
        ends_ns = None if ends is None else transport.due_ns(ends)
        if ends_ns is not None and ends_ns <= now_ns:
            return
        group = Group(step, bound.serial, now_ns, ends, ends_ns)
        self.groups.append(group)
        self._begin(group, now_ns, bound, out)

    def _begin(self, group: Group, now_ns: int, bound: Bound, out: Outbox) -> None:
        notes = _notes(group.step, bound.shape)
        apart = ns_from_ms(self.lane.roll_ms)
        together = notes if not apart else notes[:1]
        group.rolling = [(now_ns + apart * i, n) for i, n in enumerate(notes) if i and apart]
        self._sound(group, together, bound, out)

    def _sound(self, group: Group, notes: Iterable[int], bound: Bound, out: Outbox) -> None:
        for note in notes:
            velocity = struck(
                bound.level,
                self._touch,
                group.step.accent,
                self._luck,
                left=self.side is Side.LEFT,
                top=note == bound.shape.notes[-1],
            )
            group.notes.append(note)
            out.strike(group, note, velocity)

    def _release(self, group: Group, out: Outbox) -> None:
        for note in group.notes:
            out.release(group, note)
        self.groups.remove(group)


def begins_with_strike(player: HandPlayer) -> bool:
    """Whether the lane starts over with each of the player's strikes."""
    return player.lane.begins is Begin.STRIKE


def _notes(step: Step, shape: HandVoicing) -> list[int]:
    """The notes a step names in a shape, each once, ascending."""
    return sorted({note for play in step.plays for note in place(shape, play)})


def _divides_in_two(every: Fraction, unit: Fraction) -> bool:
    """Whether a grid halves the swinging unit's pair again and again: triplets do not swing."""
    parts = 2 * unit / every
    return parts.denominator == 1 and parts.numerator & (parts.numerator - 1) == 0
