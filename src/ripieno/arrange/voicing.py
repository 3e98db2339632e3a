"""From a chord and the shapes of two hands to the notes they hold.

In two moves. First each place of a shape is given a tone, in semitones above the root:

1. A place takes the tone it names. Where the chord has no third, its fourth or second stands
   there; a chord with neither, or without a fifth, has the root there again.
2. The bass of a slash chord goes into the left hand: into the place that holds it anyway, or
   else in place of what the hand can spare, a tone of the right hand's or a perfect fifth.
   Of several it is the one that would stand closest above the bass: C/D is D G C, not D E G.
3. What the chord has and no place holds yet is given one: the seventh (or sixth) first, an
   altered fifth, then the highest of its other tones, then the rest from below. The perfect
   fifth gives way first, that of the right hand before that of the left; then the root of
   the right hand, if the left has it; never the third. A right hand on its own gives up its
   root rather than an altered fifth. The bass stays: a left hand never gives up its root.

Then the shape is turned as its inversion says and set down in every octave. A tone stands
above the ones before it, or, where the hand's span does not allow that, as near above the
lowest as it can. Of all the ways to set down both hands that keep to the hard limits (span,
hands apart, low intervals, the piano's keys) the best is taken, comparing in this order:

- hands of fixed inversion: the middle of the hand nearest to `around`;
- hands of nearest inversion: no more than 9 semitones from `around`, or as little more as
  there is room for; the least movement from what the hand held; the most notes kept; the
  middle nearest to `around`;
- the lower.

What does not depend on the root is worked out once for a kind of chord: the shape turned,
with the room it has above the low limits. Of the octaves to set it down in, those that come
first in the order above are tried first; they nearly always go together, and then no other
can be better.

A chord of few tones cannot fill a large shape within a span. Its places then share keys: C5
in root-third-fifth-octave is C G C, the third and the octave being the same C.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from operator import itemgetter

from ripieno.arrange.filling import Place, fill
from ripieno.style.model import Hand, Inversion, Play, Spot, Tone
from ripieno.theory.chord import Chord, Quality
from ripieno.theory.hand import LOW_INTERVAL_LIMITS, OCTAVE
from ripieno.theory.leading import Notes, movement
from ripieno.theory.pitch import PIANO_HIGHEST, PIANO_LOWEST

WINDOW = 9  # semitones that a nearest hand's middle may be away from `around`: our choice
_ANYWHERE = 4 * PIANO_HIGHEST
_FAR = 1 << 36  # in a cost, a semitone of the middle outside that window

_TURNS = {Inversion.ROOT: 0, Inversion.FIRST: 1, Inversion.SECOND: 2, Inversion.THIRD: 3}

# What a figure plays for a tone that this chord left its shape without: what styles name as
# the alternative, most often first.
_STANDS_IN = {
    Tone.SIXTH: (Tone.FIFTH, Tone.OCTAVE, Tone.ROOT, Tone.THIRD),
    Tone.SEVENTH: (Tone.SIXTH, Tone.OCTAVE, Tone.FIFTH, Tone.ROOT, Tone.THIRD),
    Tone.NINTH: (Tone.ROOT, Tone.OCTAVE, Tone.THIRD, Tone.FIFTH),
}


@dataclass(frozen=True, slots=True)
class HandVoicing:
    """What a hand holds: `notes` ascending, `tones` the place that each of them fills.

    One note for each place of the shape. Places that share a key have the same note.
    """

    notes: tuple[int, ...]
    tones: tuple[Tone, ...]


@dataclass(frozen=True, slots=True)
class Voicing:
    left: HandVoicing | None
    right: HandVoicing | None


@dataclass(frozen=True, slots=True)
class _Stack:
    """A shape with one of its places lowest, wherever it is set down.

    `above`: semitones from the root to the lowest note. `offsets`: those from the lowest to
    each note, ascending. The low limits allow the lowest note from `least` up.
    """

    above: int
    offsets: tuple[int, ...]
    tones: tuple[Tone, ...]
    least: int


_NOTHING = Voicing(None, None)
_NEAREST = Inversion.NEAREST  # a member is looked up much faster here than in its class

# One way to set down a hand: its rank, its notes, the index of its stack, and both as a voicing.
# The rank is what of its cost does not depend on what the hand held before.
_Way = tuple[int, tuple[int, ...], int, HandVoicing]
_Ways = tuple[_Way, ...]


def voice(
    left: Hand | None,
    right: Hand | None,
    chord: Chord,
    previous: Voicing | None = None,
    span: int = OCTAVE,
) -> Voicing:
    """The notes of both hands. Total: every chord in every pair of shapes has a voicing.

    `previous` is what the hands held before, for those of nearest inversion; `span`, 12..16,
    is the most that a hand reaches.
    """
    before = previous or _NOTHING
    for near in (True, False):
        left_ways, right_ways = _ways(left, right, chord, span, near)
        lefts = _with_costs(left, left_ways, before.left) if left else ()
        rights = _with_costs(right, right_ways, before.right) if right else ()
        if left and right:
            best = _best_pair(lefts, rights)
            if best is not None:
                return Voicing(best[0][3], best[1][3])
        elif (lefts or not left) and (rights or not right):
            return Voicing(_best(lefts), _best(rights))
    raise AssertionError("between E3, above which all intervals pass, and C8 both hands fit")


_SPOTS: dict[Spot, Callable[[Notes], Notes]] = {
    Spot.BOTTOM: lambda notes: notes[:1],
    Spot.MIDDLE: lambda notes: (notes[len(notes) // 2],),
    Spot.TOP: lambda notes: notes[-1:],
    Spot.UPPER: lambda notes: tuple(sorted(set(notes[1:]))),
    Spot.ALL: lambda notes: tuple(sorted(set(notes))),
}


def _best(ways: Sequence[_Way]) -> HandVoicing | None:
    return min(ways)[3] if ways else None


def place(hand: HandVoicing, play: Play) -> tuple[int, ...]:
    """The notes that a figure's `play` names in a hand, ascending, each once.

    A number beyond the shape's notes is its highest. A tone that the chord lacks is the one
    that stands in for it: the seventh of a triad is the octave, the fifth, ...
    """
    notes = hand.notes
    if isinstance(play, int):
        return (notes[min(play, len(notes)) - 1],)
    if isinstance(play, Tone):
        return _named(hand, play)
    return _SPOTS[play](notes)


def _named(hand: HandVoicing, tone: Tone) -> tuple[int, ...]:
    for candidate in (tone, *_STANDS_IN.get(tone, ())):
        if candidate in hand.tones:
            return (hand.notes[hand.tones.index(candidate)],)
    return hand.notes[-1:]


def _best_pair(lefts: Sequence[_Way], rights: Sequence[_Way]) -> tuple[_Way, _Way] | None:
    """The cheapest two ways that go together, if any do; costs add up."""
    if not (lefts and rights):
        return None
    left, right = min(lefts), min(rights)
    if _go_together(left[1][-1], right[1][0]):
        return left, right
    best: tuple[_Way, _Way] | None = None
    least, ascending = 0, sorted(rights)
    for left in sorted(lefts):
        if best is not None and left[0] + ascending[0][0] >= least:
            break
        for right in ascending:
            if _go_together(left[1][-1], right[1][0]):
                if best is None or left[0] + right[0] < least:
                    best, least = (left, right), left[0] + right[0]
                break
    return best


def _go_together(left_top: int, right_bottom: int) -> bool:
    gap = right_bottom - left_top
    return gap > 0 and left_top >= LOW_INTERVAL_LIMITS.get(gap, 0)


def _with_costs(hand: Hand, ways: _Ways, previous: HandVoicing | None) -> Sequence[_Way]:
    """The ways with what they cost, in no order.

    The cost is what is compared, in its order, as digits to the base 4096, so that two hands
    add up. Distances from `around` are doubled: the middle of a hand may lie between two keys.
    """
    if previous is None or hand.inversion is not _NEAREST:
        return ways
    before = previous.notes
    keys = frozenset(before)
    return [
        (
            movement(before, notes) << 24 | len(keys.difference(notes)) << 12 | rank
            if rank < _FAR
            else rank,
            notes,
            order,
            held,
        )
        for rank, notes, order, held in ways
    ]


def _rank(hand: Hand, away: int) -> int:
    """The digits of the cost that tell how far the middle is from `around`."""
    if hand.inversion is not Inversion.NEAREST:
        return away << 48
    return away if away <= 2 * WINDOW else (away - 2 * WINDOW) * _FAR


@lru_cache(maxsize=1024)
def _ways(
    left: Hand | None, right: Hand | None, chord: Chord, span: int, near: bool
) -> tuple[_Ways, _Ways]:
    """The ways to set down each hand that keep to the limits of one hand.

    `near`: only those that can be best if they go together with the other hand's. Their middle
    is in the window, or for a fixed inversion within half an octave of `around`.
    """
    bass = (chord.bass - chord.root) % 12
    lefts, rights = _stacks(left, right, chord.quality, bass, chord.added, span)
    return (
        _set_down(left, lefts, chord.root, near=near) if left else (),
        _set_down(right, rights, chord.root, near=near) if right else (),
    )


def _set_down(hand: Hand, stacks: tuple[_Stack, ...], root: int, *, near: bool) -> _Ways:
    """The stacks in every octave of the piano, or only near the middle."""
    window = WINDOW if hand.inversion is Inversion.NEAREST else OCTAVE // 2
    within = 2 * window if near else _ANYWHERE
    ways = []
    for order, stack in enumerate(stacks):
        middle = 2 * hand.around - stack.offsets[-1]
        lowest = max(stack.least, (middle - within + 1) // 2)
        highest = min(PIANO_HIGHEST - stack.offsets[-1], (middle + within) // 2)
        for note in range(lowest + (root + stack.above - lowest) % 12, highest + 1, 12):
            notes = tuple([note + offset for offset in stack.offsets])
            held = HandVoicing(notes, stack.tones)
            ways.append((_rank(hand, abs(2 * note - middle)), notes, order, held))
    return tuple(ways)


@lru_cache(maxsize=1024)
def _stacks(
    left: Hand | None,
    right: Hand | None,
    quality: Quality,
    bass: int,
    added: tuple[int, ...],
    span: int,
) -> tuple[tuple[_Stack, ...], tuple[_Stack, ...]]:
    """How each hand can hold a chord whose bass lies `bass` semitones above its root."""
    lefts, rights = fill(left, right, quality, bass, added)
    return (
        _turned(left, lefts, quality, span) if left else (),
        _turned(right, rights, quality, span) if right else (),
    )


def _turned(hand: Hand, places: list[Place], quality: Quality, span: int) -> tuple[_Stack, ...]:
    """The shape with each place lowest that may be."""
    stacks = []
    for lowest in _lowest(hand, places):
        held = _stacked(places, lowest, quality, span)
        offsets = tuple([offset for offset, _ in held])
        limits = [LOW_INTERVAL_LIMITS.get(b - a, 0) - a for a, b in pairwise(offsets)]
        least = max([PIANO_LOWEST, *limits])
        stacks.append(_Stack(places[lowest].above, offsets, tuple([t for _, t in held]), least))
    return tuple(stacks)


def _lowest(hand: Hand, places: list[Place]) -> list[int]:
    """The places, by index, that may be lowest: the bass, the inversion's, or any."""
    turning = [i for i, filled in enumerate(places) if filled.tone is not Tone.OCTAVE] or [0]
    bass = [i for i in turning if places[i].bass]
    if bass or hand.inversion is Inversion.NEAREST:
        return bass or turning
    return [turning[_TURNS[hand.inversion] % len(turning)]]


def _stacked(
    places: list[Place], lowest: int, quality: Quality, span: int
) -> list[tuple[int, Tone]]:
    """The shape with one place lowest, as semitones above it with their tones, ascending."""
    low = places[lowest].above
    others = places[lowest + 1 :] + places[:lowest]
    stack = [(0, places[lowest].tone)]
    stack += [(12, Tone.OCTAVE) for p in others if p.tone is Tone.OCTAVE]
    taken = [offset for offset, _ in stack]
    top = 0
    for filled in others:
        if filled.tone is Tone.OCTAVE:
            continue
        offset = _offset((filled.above - low) % 12, top, taken, span)
        if offset is None:
            offset = _filler(low, taken, quality, span)
        top = max(top, offset)
        taken.append(offset)
        stack.append((offset, filled.tone))
    return sorted(stack, key=itemgetter(0))


def _offset(above_low: int, top: int, taken: list[int], span: int) -> int | None:
    """Where a tone stands over the lowest: above `top`, else lower; None: its keys are taken."""
    free = [offset for offset in range(above_low, span + 1, 12) if offset not in taken]
    for offset in free:
        if offset > top:
            return offset
    return free[0] if free else None


def _filler(low: int, taken: list[int], quality: Quality, span: int) -> int:
    """A tone of the chord for a place whose own is taken: first the lowest an octave above.

    Where the span holds no more of them, the place shares the highest key.
    """
    tones = {(above - low) % 12 for above in quality.semitones}
    free = [o for o in (12, *range(1, span + 1)) if o not in taken and o % 12 in tones | {0}]
    return free[0] if free else max(taken)
