"""From keys to strikes: which keys make one chord, and when that is known.

A *strike* is one going-down of the hands. Its keys do not arrive together: in 1,837 one-hand
chords of professionals (Vienna 4x22, W. Goebl 1999, measured in its match files) they take
20 ms in the median, 43 ms at 90 % and up to 199 ms. So a strike is read early, mended late:

- *Enough* keys (three; one where a single key names the chord) are read at once. They need
  not be three pitch classes: 2.5 % of the strikes measured are two with an octave.
- *Two keys* wait the gather time after the second, longer if they came far apart: who rolls
  a chord rolls on, and the next gap is within twice the longest so far. That leaves 2.1 % of
  the three-key strikes with a reading before their third key; a plain 35 ms leaves 4.4 %.
- *One key* is no chord yet and waits the lone time: the longest gap measured is 142 ms.
- A further key within the amend time after the last one (the lone time, while there are not
  enough) belongs to the strike, which is read again. The earlier keys may be up by then, as
  they are in 3 % of the strikes; but a strike of enough keys that are all up is over.
- A key of the strike *struck again* begins the next strike, unless it bounced. If no other
  key follows it, and one of the first strike has stayed down, it was an ornament (a turn or
  a trill, 0.3 % of the strikes) and begins nothing.

Hands overlap when they play legato. Keys of earlier strikes that are still down are *held*:
some belong to the new chord, some are only slow to come up. A held key belongs if it stays
down past the adopt time. Until then, new keys of as many tones as the chord before are the
chord; fewer are read as the plainest chord that can be made of all of them and some held
ones; where two are equally plain or none can be made, enough new keys are read by themselves,
and fewer wait for releases or the adopt time. A key held
through an earlier change as well belongs at once if it doubles a new key or lies far below
the others, as a pedal point does. Lifting keys makes a reading only where it settles which
held keys belong.

There is no clock here: instants come in with each call, and `due_ns` says when to call
`advance`. `benchmarks/strikes.py` measures all this on a file of recorded strikes.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from ripieno.units import NS_PER_MS

ENOUGH = 3  # keys that make a chord by themselves

_ROLL = 2  # the next gap in a rolled chord, to the longest before it, at most
_PEDAL_POINT = 8  # semitones, at least, from a pedal point to the key above it

# Semitones above the root, and how far the chord is from the plainest. Our choice: what a
# hand most likely means where held keys leave several chords open. Not the vocabulary.
_SHAPES = (
    ((0, 4, 7), 0),
    ((0, 3, 7), 0),
    ((0, 4, 7, 10), 1),
    ((0, 3, 7, 10), 1),
    ((0, 4, 7, 11), 1),
    ((0, 4, 10), 2),
    ((0, 3, 6, 10), 2),
    ((0, 3, 6, 9), 3),
    ((0, 3, 6), 4),
    ((0, 4, 8), 4),
    ((0, 5, 7), 4),
)
_OTHER_SIZE = 2  # added to the rank of a chord with more or fewer tones than the one before


def _mask(semitones: Iterable[int]) -> int:
    """A set of pitch classes as twelve bits, C the lowest."""
    mask = 0
    for semitone in semitones:
        mask |= 1 << semitone % 12
    return mask


_PLAIN = {_mask(root + s for s in shape): rank for shape, rank in _SHAPES for root in range(12)}
_BY_SIZE = {
    size: [(mask, rank + _OTHER_SIZE * (mask.bit_count() != size)) for mask, rank in _PLAIN.items()]
    for size in range(13)
}


def _plainest(new: int, available: int, size: int) -> int | None:
    """The one plainest chord that has all of `new` and only `available` pitch classes."""
    if available == new:
        return new if new in _PLAIN else None
    fitting = [
        (rank, mask)
        for mask, rank in _BY_SIZE[size]
        if mask & new == new and mask & available == mask
    ]
    if not fitting:
        return None
    lowest, plainest = min(fitting)
    return plainest if sum(rank == lowest for rank, _ in fitting) == 1 else None


@dataclass(frozen=True, slots=True)
class Timing:
    """How long the trigger waits, in nanoseconds. `gather_ns` is the least, `lone_ns` the most."""

    gather_ns: int = 35 * NS_PER_MS  # two keys, for a third
    amend_ns: int = 80 * NS_PER_MS  # after a strike's last key, for a late one
    adopt_ns: int = 120 * NS_PER_MS  # after a strike's last key, for held ones to belong
    lone_ns: int = 200 * NS_PER_MS  # one key, for a second; and a rolled strike at most


@dataclass(frozen=True, slots=True)
class Strike:
    """A reading of a strike: `keys` (ascending, one or more) are the chord.

    It was decided at `at_ns`; the last key struck came at `strike_ns`, no later.
    `velocity`, 1..127, is the mean of the keys struck; held keys have no part in it.
    """

    at_ns: int
    strike_ns: int
    keys: tuple[int, ...]
    velocity: int
    amends: bool  # replaces the reading before; otherwise a new strike


class _Gathered(NamedTuple):
    """A strike as far as it has come, and what has been read of it."""

    last_ns: int
    struck: dict[int, int]  # note -> velocity, whether lifted since or not
    held: frozenset[int]  # struck before it and still down
    through: frozenset[int]  # those of `held` that the strike before found held as well
    size: int  # pitch classes in the reading before, pedal points apart
    before: "_Gathered | None" = None  # the strike whose key was struck again to begin this
    longest_ns: int = 0  # the longest gap between keys
    read: frozenset[int] = frozenset()  # empty: not read yet
    doubt: bool = False  # not read although the gather time is over

    @property
    def waiting(self) -> bool:
        """Whether the adopt time will decide something."""
        return self.doubt or (bool(self.read) and not self.held <= self.read)

    def with_key(self, at_ns: int, note: int, velocity: int) -> "_Gathered":
        lifted = self.without(note)
        return _Gathered(
            at_ns,
            {**self.struck, note: velocity},
            lifted.held,
            lifted.through,
            self.size,
            self.before,
            longest_ns=max(self.longest_ns, at_ns - self.last_ns),
            read=self.read,
        )

    def as_read(self, keys: frozenset[int]) -> "_Gathered":
        return self._replace(read=keys, doubt=False)

    def without(self, note: int) -> "_Gathered":
        """`note` no longer held."""
        if note not in self.held:
            return self
        return self._replace(held=self.held - {note}, through=self.through - {note})

    def rolled_ns(self, least_ns: int, most_ns: int) -> int:
        return max(least_ns, min(most_ns, self.longest_ns * _ROLL))

    def pedal_points(self) -> frozenset[int]:
        if not self.through:
            return frozenset()
        lowest, *others = sorted(self.held | self.struck.keys())
        far_below = lowest in self.through and others[0] - lowest >= _PEDAL_POINT
        return frozenset({lowest} if far_below else ())

    def likeliest(self, *, enough: bool) -> frozenset[int] | None:
        """The chord before the adopt time is over. None: it cannot be told."""
        new = _mask(self.struck)
        whole = new.bit_count() >= max(ENOUGH, self.size)
        if whole and not self.through:
            return frozenset(self.struck)
        pedal_points = self.pedal_points()
        available = new | _mask(self.held - pedal_points)
        plainest = new if whole else _plainest(new, available, self.size)
        if plainest is None and not enough:
            return None
        joining = (plainest or new) & ~new
        doubling = (note for note in self.through if new >> note % 12 & 1)
        joined = (note for note in self.held if joining >> note % 12 & 1)
        return pedal_points.union(self.struck, doubling, joined)

    def after_release(self, note: int, *, enough: bool) -> frozenset[int] | None:
        """What is left to read when `note`, held until now, comes up. None: nothing new."""
        if note in self.read:
            keys = self.read - {note}
            return keys if enough or _mask(keys - self.pedal_points()) in _PLAIN else None
        if self.doubt and not self.held:
            return frozenset(self.struck)
        keys = self.likeliest(enough=enough) or frozenset()
        return keys if keys >= self.held and keys else None


class Trigger:
    """Keys in, strikes out, by the rules in the module's text.

    Instants must not go back. Before a key is handed in, what was due by then must have been
    performed: call `advance` as long as `due_ns` is not after that instant. `at_once` keys
    are enough to be read without waiting; with 1, held keys never belong.
    Notes are 0..127, velocities 1..127. Nothing a player does is an error: a key that goes
    down twice counts as lifted in between, one that comes up twice is ignored.
    """

    def __init__(self, timing: Timing, *, at_once: int = ENOUGH) -> None:
        self._timing = timing
        self._at_once = at_once
        self._down: set[int] = set()
        self._strike: _Gathered | None = None

    @property
    def down(self) -> frozenset[int]:
        """The keys that are down."""
        return frozenset(self._down)

    @property
    def gathering(self) -> bool:
        """Whether keys have arrived that no reading has taken in."""
        return self._strike is not None and not self._strike.read

    def enough_are(self, at_once: int) -> None:
        """From the next key on, so many are read without waiting."""
        self._at_once = at_once

    def drop(self) -> None:
        """Decide nothing more of what was struck; keys that are down stay down."""
        self._strike = None

    def clear(self) -> None:
        """Forget everything: all keys are taken to be up."""
        self._down.clear()
        self._strike = None

    def due_ns(self) -> int | None:
        """When `advance` has something to decide; None: not before another key."""
        strike, timing = self._strike, self._timing
        if strike is None:
            return None
        if strike.waiting:
            return self._adopt_due_ns(strike)
        if strike.read:
            return None
        if len(strike.struck) == 1 and not strike.held:
            return strike.last_ns + timing.lone_ns
        return strike.last_ns + strike.rolled_ns(timing.gather_ns, timing.lone_ns)

    def key_down(self, at_ns: int, note: int, velocity: int) -> Strike | None:
        """A key struck. What comes back was decided by it."""
        self._down.discard(note)
        strike, ended = self._strike, None
        if strike is not None and self._takes(strike, at_ns, note):
            strike = strike.with_key(at_ns, note, velocity)
        else:
            if strike is not None and not strike.read:
                ended = self._read(strike, at_ns, strike.held.union(strike.struck))
            strike = self._begin(at_ns, note, velocity)
        self._strike = strike
        self._down.add(note)
        if strike.read or self._is_enough(strike):
            return self._read(strike, at_ns, strike.likeliest(enough=True))
        return ended

    def key_up(self, at_ns: int, note: int) -> Strike | None:
        """A key released. A reading comes of it only if it settles which held keys belong."""
        self._down.discard(note)
        if self._strike is None or note not in self._strike.held:
            return None
        self._strike = strike = self._strike.without(note)
        if at_ns >= self._adopt_due_ns(strike) or not (strike.read or strike.doubt):
            return None
        keys = strike.after_release(note, enough=self._is_enough(strike))
        return self._read(strike, at_ns, keys)

    def advance(self, now_ns: int) -> Strike | None:
        """Decide what is due at or before `now_ns`, up to the first reading that comes of it."""
        reading = None
        while reading is None and (due_ns := self.due_ns()) is not None and due_ns <= now_ns:
            assert self._strike is not None, "only a strike is ever due"
            reading = self._expire(self._strike, due_ns)
        return reading

    def _expire(self, strike: _Gathered, due_ns: int) -> Strike | None:
        if strike.waiting or not strike.held:
            return self._read(strike, due_ns, strike.held.union(strike.struck))
        if strike.before is not None and len(strike.struck) == 1:
            self._strike = self._with_ornament(strike.before, strike.last_ns)
            return None
        keys = strike.likeliest(enough=False)
        self._strike = strike._replace(doubt=keys is None)
        return self._read(strike, due_ns, keys)

    def _with_ornament(self, before: _Gathered, last_ns: int) -> _Gathered:
        held = before.held & self._down
        return before._replace(last_ns=last_ns, held=held, through=before.through & held)

    def _adopt_due_ns(self, strike: _Gathered) -> int:
        """Not before the gather time is over, which is longer for a rolled strike."""
        timing = self._timing
        return strike.last_ns + max(
            timing.adopt_ns, strike.rolled_ns(timing.gather_ns, timing.lone_ns)
        )

    def _is_enough(self, strike: _Gathered) -> bool:
        return len(strike.struck) >= self._at_once

    def _takes(self, strike: _Gathered, at_ns: int, note: int) -> bool:
        """Whether a key that goes down now belongs to the strike."""
        timing, gap_ns = self._timing, at_ns - strike.last_ns
        if note in strike.struck:
            return gap_ns <= timing.gather_ns  # a bounce
        if not strike.read:
            return True
        enough, stays = self._is_enough(strike), self._down & strike.struck.keys()
        if enough and not stays:
            return False
        least_ns = timing.amend_ns if enough or not stays else timing.lone_ns
        return gap_ns <= strike.rolled_ns(least_ns, timing.lone_ns)

    def _begin(self, at_ns: int, note: int, velocity: int) -> _Gathered:
        last, struck = self._strike, {note: velocity}
        held = frozenset(self._down) if self._at_once > 1 else frozenset()
        if last is None:
            return _Gathered(at_ns, struck, held, frozenset(), ENOUGH)
        soon = at_ns - last.last_ns <= self._timing.lone_ns
        again = soon and note in last.struck and not held.isdisjoint(last.struck)
        return _Gathered(
            at_ns,
            struck,
            held,
            through=held - last.struck.keys(),
            size=_mask(last.read - last.pedal_points()).bit_count(),
            before=last._replace(before=None) if again else None,
        )

    def _read(self, strike: _Gathered, at_ns: int, keys: frozenset[int] | None) -> Strike | None:
        """Take `keys` for the strike's chord; None for what is read already or not known."""
        if keys is None or keys == strike.read:
            return None
        self._strike = strike.as_read(keys)
        velocities = strike.struck.values()
        return Strike(
            at_ns=at_ns,
            strike_ns=strike.last_ns,
            keys=tuple(sorted(keys)),
            velocity=(2 * sum(velocities) + len(velocities)) // (2 * len(velocities)),
            amends=bool(strike.read),
        )
