"""One hand: it follows its lane's grid and binds each step to a pitch only when it is due.

A step that strikes makes a `Group`: the notes that sound for it until its end. What a chord
change does to a group is one of three things:

- *replace*: notes that do not belong are released and replaced, common ones go on. For a step
  caught late, a strike amended, a suspension resolved: it is the same step, put right.
- *strike again*: the whole group, at the next place of the grid. For notes held over from
  before the change: a player who changes chord plays the new one.
- *release*: a lane that begins with the strike starts over.

Places are counted from where the cycle began, in parts of a quarter so small that every step,
every end of a note and their swung places are whole (see `transport.Grid`).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm
from random import Random

from ripieno.arrange.dynamics import struck
from ripieno.arrange.voicing import HandVoicing, place
from ripieno.perform.outbox import Outbox
from ripieno.perform.swing import Pairs, Swing, parts_of
from ripieno.perform.transport import Grid, Transport
from ripieno.style.model import USUAL_CATCH, Begin, Catch, Lane, Step, Touch
from ripieno.theory.hand import Side
from ripieno.units import ns_from_ms


@dataclass(frozen=True, slots=True)
class Bound:
    """What the hand's tones are just now. `serial` counts the player's strikes."""

    serial: int
    shape: HandVoicing
    level: int  # the player's velocity, 1..127


@dataclass(slots=True, eq=False)
class Group:
    """The notes of one struck step; `ends_*` None: until the lane starts over.

    `ends_at` is the place where they end, in the hand's parts and not swung yet; they end
    `shift_ns` after it, having been struck off the grid.
    """

    step: Step
    serial: int
    struck_ns: int
    ends_at: int | None
    ends_ns: int | None
    shift_ns: int = 0
    notes: list[int] = field(default_factory=list)
    rolling: list[tuple[int, int]] = field(default_factory=list)  # (due_ns, note), ascending


class HandPlayer:
    """Plays one lane of one hand. Silent until `start`."""

    def __init__(
        self,
        side: Side,
        lane: Lane,
        touch: Touch,
        swing: Swing | None,
        luck: Random,
        catch: Catch = USUAL_CATCH,
    ) -> None:
        self.side = side
        self._is_left = side is Side.LEFT
        self.lane = lane
        self.begins_with_strike = lane.begins is Begin.STRIKE  # each of the player's
        self._touch = touch
        self._luck = luck
        swings = swing if swing and _divides_in_two(lane.every_quarters, swing[0]) else None
        self._parts = _parts(lane, swings)
        self._pairs = Pairs(swings, self._parts) if swings else None
        self._late_ns, self._early_ns = ns_from_ms(catch.late_ms), ns_from_ms(catch.early_ms)
        self._catch_part = catch.part.as_integer_ratio()  # of a step
        self._reach = (catch.part * lane.every_quarters).as_integer_ratio()  # in quarters
        self._every = int(lane.every_quarters * self._parts)
        self._lasting = int(lane.every_quarters * lane.length * self._parts)  # of each step
        self._apart_ns = ns_from_ms(lane.roll_ms)
        self._origin = Fraction(0)
        self._struck_ns: int | None = None  # when the first step is, if not at the origin
        self._grid: Grid | None = None
        self._next = 0
        self.step_due_ns: int | None = None  # when the next place of the grid is due
        self._last_ns: int | None = None
        self.groups: list[Group] = []

    def start(
        self,
        transport: Transport,
        origin_quarters: Fraction,
        at_or_after: Fraction | None = None,
    ) -> None:
        """Count the cycle from `origin_quarters`; the first step is there, or after a position."""
        self._count_from(transport, origin_quarters)
        if at_or_after is not None and at_or_after > origin_quarters:
            self._next = -((origin_quarters - at_or_after) // self.lane.every_quarters)
        self._struck_ns = None
        self._plan()

    def start_struck(self, transport: Transport, now_ns: int, struck_ns: int) -> None:
        """The player has struck: the first step is now, and the cycle counts from its place.

        That is where the strike came, no later than now.
        """
        here = transport.position_at(struck_ns)
        self._count_from(transport, self._belongs_to(transport, here))
        self._struck_ns = self.step_due_ns = now_ns

    def retime(self, transport: Transport) -> None:
        """The tempo has changed: the same places are due at other instants."""
        self._grid = transport.grid(self._origin, self._parts)
        if self._pairs:
            self._pairs.follow(transport, self._next * self._every)
        self._plan()
        for group in self.groups:
            group.ends_ns = self._ends_ns(group.ends_at, group.shift_ns)

    def unstruck(self, transport: Transport, at_or_after: Fraction, here: Fraction) -> Fraction:
        """From where on another hand takes over here: what this one has still to strike, too.

        That is its next place, and the bar line if it has struck nothing there; neither if it
        lies before `at_or_after`.
        """
        bar, every = transport.bar_quarters, self.lane.every_quarters
        following = self._origin + self._next * every
        places = [following] if self.step_due_ns is not None else []
        silent = self._next == 0 or not self._step_at(self._next - 1).plays
        if bar > following - every or (silent and bar == following - every):
            places.append(bar)
        return min((place for place in places if at_or_after <= place <= here), default=here)

    @property
    def note_due_ns(self) -> int | None:
        """When the next note ends, or the next of a rolled chord is due."""
        due = [group.ends_ns for group in self.groups if group.ends_ns is not None]
        if self._apart_ns:
            due += [group.rolling[0][0] for group in self.groups if group.rolling]
        return min(due) if due else None

    @property
    def rolls(self) -> bool:
        """Whether notes of a rolled chord are still to come."""
        return any(group.rolling for group in self.groups) if self._apart_ns else False

    def end_notes(self, now_ns: int, out: Outbox) -> None:
        """Release what ends at or before an instant."""
        for group in self.groups[:]:
            if group.ends_ns is not None and group.ends_ns <= now_ns:
                self._release(group, out)

    def roll_on(self, now_ns: int, bound: Bound, out: Outbox) -> None:
        """Strike the notes of rolled chords that are due; the chord before's stay unstruck."""
        for group in self.groups:
            if group.serial != bound.serial:
                group.rolling = []
            while group.rolling and group.rolling[0][0] <= now_ns:
                self._sound(group, [group.rolling.pop(0)[1]], bound, out)

    def leave(self) -> None:
        """Another lane takes over: what sounds may end in its time, nothing more is struck."""
        self.step_due_ns = None
        self.drop_rolls()

    def drop_rolls(self) -> None:
        """Strike no more of the rolled chords under way."""
        for group in self.groups:
            group.rolling = []

    def release_all(self, out: Outbox) -> None:
        for group in list(self.groups):
            self._release(group, out)

    def release_before(self, serial: int, out: Outbox) -> None:
        """Release what was struck for the chords before a strike."""
        for group in [group for group in self.groups if group.serial < serial]:
            self._release(group, out)

    def release_foreign(self, serial: int, tones: frozenset[int], out: Outbox) -> None:
        """Release what was struck for a strike but is none of these pitch classes."""
        self._release_foreign(lambda group: group.serial == serial, tones, out)

    def release_foreign_before(self, serial: int, tones: frozenset[int], out: Outbox) -> None:
        """Release what was struck before a strike and is none of these pitch classes.

        The next place of the grid strikes its group again.
        """
        self._release_foreign(lambda group: group.serial < serial, tones, out)

    def skip(self, now_ns: int) -> int:
        """Let the places of the grid that are due go by, as if they were rests: so many."""
        self.drop_rolls()
        self._last_ns = None
        before = self._next
        while self.step_due_ns is not None and self.step_due_ns <= now_ns:
            self._next += 1
            self._plan()
        return self._next - before

    def step(self, now_ns: int, bound: Bound | None, out: Outbox) -> None:
        """Play the place of the grid that is due; without a chord it goes by in silence."""
        index = self._next
        self._last_ns = now_ns
        self._next += 1
        self._plan()
        if bound is not None:
            self._strike_stale_again(now_ns, bound, out)
            self._strike_step(index, now_ns, bound, out)

    def catch(self, now_ns: int, bound: Bound, out: Outbox) -> None:
        """The chord has changed: put the last step right if it is no more than just past."""
        last_ns = self._last_ns
        if last_ns is None or not self.put_right(now_ns, bound, out):
            return
        missed = not any(group.struck_ns == last_ns for group in self.groups)
        self._strike_stale_again(now_ns, bound, out)
        if missed and self._strike_step(self._next - 1, now_ns, bound, out):
            self._last_ns = now_ns

    def put_right(self, now_ns: int, bound: Bound, out: Outbox) -> bool:
        """What the last step has struck, if that is no more than just past; whether it is."""
        last_ns = self._last_ns
        if last_ns is None or now_ns - last_ns > self._tolerance_ns():
            return False
        for group in self.groups:
            if group.serial != bound.serial and group.struck_ns == last_ns:
                self.replace(group, bound, out)
        return True

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

    def _count_from(self, transport: Transport, origin_quarters: Fraction) -> None:
        self._origin = origin_quarters
        self._next, self._last_ns = 0, None
        self._grid = transport.grid(origin_quarters, self._parts)
        if self._pairs:
            self._pairs.start(transport)

    def _plan(self) -> None:
        assert self._grid is not None, "the lane has started"
        done = not self.lane.repeats and self._next >= len(self.lane.steps)
        if self._next == 0 and self._struck_ns is not None:
            self.step_due_ns = self._struck_ns
        else:
            self.step_due_ns = None if done else self._due_ns(self._next * self._every)

    def _due_ns(self, place: int) -> int:
        """When a place is due that is not swung yet."""
        assert self._grid is not None, "the lane has started"
        return self._grid.due_ns(self._pairs.swung(place) if self._pairs else place)

    def _step_at(self, index: int) -> Step:
        return self.lane.steps[index % len(self.lane.steps)]

    def _end_of(self, index: int, lasts: int) -> int | None:
        """Where the notes of the step at `index` end; None if they stay till the next strike."""
        if not self.lane.repeats and index + lasts >= len(self.lane.steps):
            return None
        return index * self._every + lasts * self._lasting

    def _ends_ns(self, ends_at: int | None, shift_ns: int = 0) -> int | None:
        return None if ends_at is None else self._due_ns(ends_at) + shift_ns

    def _shift_ns(self, index: int, now_ns: int) -> int:
        """How much later than its place the step at `index` ends, struck now off the grid.

        A note that ends before the next place keeps its length, as far as that place lets it; one
        that is joined to it ends there.
        """
        if self._struck_ns is None or index or self.lane.length == 1:
            return 0
        lasts = self._step_at(0).lasts
        room_ns = self._due_ns(lasts * self._every) - self._due_ns(lasts * self._lasting)
        return min(now_ns - self._due_ns(0), room_ns)

    def _tolerance_ns(self) -> int:
        """How late a chord may come to correct a step."""
        assert self._grid is not None, "the lane has started"
        over, under = self._catch_part
        return min(self._late_ns, self._grid.lasting_ns(self._every) * over // under)

    def _belongs_to(self, transport: Transport, here: Fraction) -> Fraction:
        """The place that a chord struck at a position belongs to: the position, if none is near.

        Places are the beats and what the lane's steps divide them into; where it swings, only
        where pairs begin, since the pairs count from there.
        """
        apart = self._pairs.pair_quarters if self._pairs else self.lane.every_quarters
        beat = transport.meter.beat_quarters
        place, late, parts = transport.nearest(here, apart if _divides(apart, beat) else beat)
        most_ns = self._late_ns if late > 0 else self._early_ns
        ns_over, ns_under = transport.ns_per_quarter.as_integer_ratio()
        reach_over, reach_under = self._reach
        is_near = abs(late) * reach_under <= reach_over * parts
        return place if is_near and abs(late) * ns_over <= most_ns * parts * ns_under else here

    def _strike_stale_again(self, now_ns: int, bound: Bound, out: Outbox) -> None:
        for group in self.groups:
            if group.serial != bound.serial:
                for note in group.notes:
                    out.release(group, note)
                group.notes, group.rolling, group.serial = [], [], bound.serial
                self._begin(group, now_ns, bound, out)

    def _strike_step(self, index: int, now_ns: int, bound: Bound, out: Outbox) -> bool:
        """Strike what the step at `index` plays, unless it would be over already."""
        step = self._step_at(index)
        if not step.plays:
            return False
        ends_at, shift_ns = self._end_of(index, step.lasts), self._shift_ns(index, now_ns)
        ends_ns = self._ends_ns(ends_at, shift_ns)
        if ends_ns is not None and ends_ns <= now_ns:
            return False
        group = Group(step, bound.serial, now_ns, ends_at, ends_ns, shift_ns)
        self.groups.append(group)
        self._begin(group, now_ns, bound, out)
        return True

    def _begin(self, group: Group, now_ns: int, bound: Bound, out: Outbox) -> None:
        notes, apart_ns = _notes(group.step, bound.shape), self._apart_ns
        if apart_ns:
            group.rolling = [(now_ns + apart_ns * i, n) for i, n in enumerate(notes) if i]
            notes = notes[:1]
        self._sound(group, notes, bound, out)

    def _sound(self, group: Group, notes: Iterable[int], bound: Bound, out: Outbox) -> None:
        top, accent = bound.shape.notes[-1], group.step.accent
        for note in notes:
            velocity = struck(
                bound.level, self._touch, accent, self._luck, left=self._is_left, top=note == top
            )
            group.notes.append(note)
            out.strike(group, note, velocity)

    def _release_foreign(
        self, concerns: Callable[[Group], bool], tones: frozenset[int], out: Outbox
    ) -> None:
        for group in filter(concerns, self.groups):
            for note in [note for note in group.notes if note % 12 not in tones]:
                group.notes.remove(note)
                out.release(group, note)

    def _release(self, group: Group, out: Outbox) -> None:
        for note in group.notes:
            out.release(group, note)
        self.groups.remove(group)


def _notes(step: Step, shape: HandVoicing) -> tuple[int, ...]:
    """The notes a step names in a shape, each once, ascending."""
    if len(step.plays) == 1:
        return place(shape, step.plays[0])
    return tuple(sorted({note for play in step.plays for note in place(shape, play)}))


def _parts(lane: Lane, swing: Swing | None) -> int:
    """Into how many parts a quarter has to be divided for all the lane's places to be whole."""
    every = lane.every_quarters
    parts = lcm(every.denominator, (every * lane.length).denominator)
    if swing is None:
        return parts
    return lcm(parts, swing[0].denominator) * parts_of(swing)


def _divides(part: Fraction, whole: Fraction) -> bool:
    """Whether a length is so many parts."""
    over, under = whole.as_integer_ratio()
    part_over, part_under = part.as_integer_ratio()
    return over * part_under % (under * part_over) == 0


def _divides_in_two(every: Fraction, unit: Fraction) -> bool:
    """Whether a grid halves the swinging unit's pair again and again: triplets do not swing."""
    parts = 2 * unit / every
    return parts.denominator == 1 and parts.numerator & (parts.numerator - 1) == 0
