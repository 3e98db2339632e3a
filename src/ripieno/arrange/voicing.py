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

A chord of few tones cannot fill a large shape within a span. Its places then share keys: C5
in root-third-fifth-octave is C G C, the third and the octave being the same C.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from ripieno.style.model import ALWAYS, Hand, Inversion, Play, Spot, Tone
from ripieno.theory.chord import Chord, Quality
from ripieno.theory.hand import LOW_INTERVAL_LIMITS, OCTAVE, above_low_limits
from ripieno.theory.leading import movement
from ripieno.theory.pitch import PIANO_HIGHEST, PIANO_LOWEST

WINDOW = 9  # semitones that a nearest hand's middle may be away from `around`: our choice

_DEGREES = {
    Tone.ROOT: (1,),
    Tone.THIRD: (3, 4, 2),
    Tone.FIFTH: (5,),
    Tone.SIXTH: (6,),
    Tone.SEVENTH: (7,),
    Tone.NINTH: (9,),
}
_PERFECT_FIFTH = 7
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


_Ways = tuple[HandVoicing, ...]
_Costs = list[tuple[int, int]]  # cost and index among the ways, cheapest first


@dataclass(slots=True)
class _Place:
    """A place being filled. `above`: semitones above the root, 0..11.

    `own`: the chord has the tone that the place names. `bass`: holds a slash chord's bass.
    """

    tone: Tone
    above: int
    own: bool = True
    bass: bool = False


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
    lefts, rights = _ways(left, right, chord, span)
    before = previous or Voicing(None, None)
    left_costs = _by_cost(left, lefts, before.left)
    right_costs = _by_cost(right, rights, before.right)
    if left_costs and right_costs:
        return _best_pair(lefts, left_costs, rights, right_costs)
    return Voicing(
        lefts[left_costs[0][1]] if left_costs else None,
        rights[right_costs[0][1]] if right_costs else None,
    )


def place(hand: HandVoicing, play: Play) -> tuple[int, ...]:
    """The notes that a figure's `play` names in a hand, ascending, each once.

    A number beyond the shape's notes is its highest. A tone that the chord lacks is the one
    that stands in for it: the seventh of a triad is the octave, the fifth, ...
    """
    notes = hand.notes
    match play:
        case Spot.BOTTOM:
            return notes[:1]
        case Spot.MIDDLE:
            return (notes[len(notes) // 2],)
        case Spot.TOP:
            return notes[-1:]
        case Spot.UPPER:
            return tuple(sorted(set(notes[1:])))
        case Spot.ALL:
            return tuple(sorted(set(notes)))
        case Tone():
            return _named(hand, play)
        case _:
            return (notes[min(play, len(notes)) - 1],)


def _named(hand: HandVoicing, tone: Tone) -> tuple[int, ...]:
    for candidate in (tone, *_STANDS_IN.get(tone, ())):
        if candidate in hand.tones:
            return (hand.notes[hand.tones.index(candidate)],)
    return hand.notes[-1:]


def _best_pair(lefts: _Ways, left_costs: _Costs, rights: _Ways, right_costs: _Costs) -> Voicing:
    """The cheapest two ways that go together; costs add up."""
    best: tuple[int, Voicing] | None = None
    for left_cost, i in left_costs:
        if best is not None and left_cost + right_costs[0][0] >= best[0]:
            break
        for right_cost, j in right_costs:
            if _go_together(lefts[i].notes[-1], rights[j].notes[0]):
                if best is None or left_cost + right_cost < best[0]:
                    best = left_cost + right_cost, Voicing(lefts[i], rights[j])
                break
    assert best is not None, "between E3, above which all intervals pass, and C8 both hands fit"
    return best[1]


def _go_together(left_top: int, right_bottom: int) -> bool:
    gap = right_bottom - left_top
    return gap > 0 and left_top >= LOW_INTERVAL_LIMITS.get(gap, 0)


def _by_cost(hand: Hand | None, ways: _Ways, previous: HandVoicing | None) -> _Costs:
    if hand is None:
        return []
    return sorted([(_cost(hand, way.notes, previous), i) for i, way in enumerate(ways)])


def _cost(hand: Hand, notes: tuple[int, ...], previous: HandVoicing | None) -> int:
    """What is compared, in its order, as digits to the base 4096, so that two hands add up.

    Distances are doubled: the middle of a hand may lie between two keys.
    """
    away = abs(notes[0] + notes[-1] - 2 * hand.around)
    if hand.inversion is not Inversion.NEAREST:
        return away << 48
    if away > 2 * WINDOW:
        return (away - 2 * WINDOW) << 36
    if previous is None:
        return away
    lost = len(set(previous.notes).difference(notes))
    return movement(previous.notes, notes) << 24 | lost << 12 | away


@lru_cache(maxsize=1024)
def _ways(left: Hand | None, right: Hand | None, chord: Chord, span: int) -> tuple[_Ways, _Ways]:
    """All ways to set down each hand that keep to the limits of one hand, lower first."""
    lefts, rights = _filled(left, right, chord)
    return (
        _settings(left, lefts, chord, span) if left else (),
        _settings(right, rights, chord, span) if right else (),
    )


def _settings(hand: Hand, places: list[_Place], chord: Chord, span: int) -> _Ways:
    """The turned shape in every octave of the piano."""
    ways = []
    for lowest in _lowest(hand, places):
        stack = _stacked(places, lowest, chord.quality, span)
        tones = tuple([tone for _, tone in stack])
        first = (chord.root + places[lowest].above - PIANO_LOWEST) % 12 + PIANO_LOWEST
        for note in range(first, PIANO_HIGHEST - stack[-1][0] + 1, 12):
            notes = tuple([note + offset for offset, _ in stack])
            if above_low_limits(notes):
                ways.append(HandVoicing(notes, tones))
    return tuple(sorted(ways, key=lambda way: way.notes))


def _lowest(hand: Hand, places: list[_Place]) -> list[int]:
    """The places, by index, that may be lowest: the bass, the inversion's, or any."""
    turning = [i for i, filled in enumerate(places) if filled.tone is not Tone.OCTAVE] or [0]
    bass = [i for i in turning if places[i].bass]
    if bass or hand.inversion is Inversion.NEAREST:
        return bass or turning
    return [turning[_TURNS[hand.inversion] % len(turning)]]


def _stacked(
    places: list[_Place], lowest: int, quality: Quality, span: int
) -> list[tuple[int, Tone]]:
    """The shape with one place lowest, as semitones above it with their tones, ascending."""
    low = places[lowest].above
    others = places[lowest + 1 :] + places[:lowest]
    stack = [(0, places[lowest].tone)]
    stack += [(12, Tone.OCTAVE) for p in others if p.tone is Tone.OCTAVE]
    top = 0
    for filled in [p for p in others if p.tone is not Tone.OCTAVE]:
        taken = {offset for offset, _ in stack}
        offset = _offset((filled.above - low) % 12, top, taken, span)
        if offset is None:
            offset = _filler(low, taken, quality, span)
        top = max(top, offset)
        stack.append((offset, filled.tone))
    return sorted(stack, key=lambda note: note[0])


def _offset(above_low: int, top: int, taken: set[int], span: int) -> int | None:
    """Where a tone stands over the lowest: above `top`, else lower; None: its keys are taken."""
    free = [offset for offset in range(above_low, span + 1, 12) if offset not in taken]
    return min((offset for offset in free if offset > top), default=min(free, default=None))


def _filler(low: int, taken: set[int], quality: Quality, span: int) -> int:
    """A tone of the chord for a place whose own is taken: first the lowest an octave above.

    Where the span holds no more of them, the place shares the highest key.
    """
    tones = {(above - low) % 12 for above in quality.semitones}
    free = [o for o in (12, *range(1, span + 1)) if o not in taken and o % 12 in tones | {0}]
    return free[0] if free else max(taken)


def _filled(
    left: Hand | None, right: Hand | None, chord: Chord
) -> tuple[list[_Place], list[_Place]]:
    """The places of both hands with the tones they take."""
    lefts = _own_tones(left, chord.quality) if left else []
    rights = _own_tones(right, chord.quality) if right else []
    if lefts and chord.bass != chord.root:
        _take_bass(lefts, rights, (chord.bass - chord.root) % 12)
    for above in _wanted(chord):
        if not _hold(lefts + rights, above):
            giving = next(_giving_way(lefts, rights, chord.quality, above), None)
            if giving is not None:
                giving.above, giving.own = above, True
    return lefts, rights


def _own_tones(hand: Hand, quality: Quality) -> list[_Place]:
    places = []
    for alternatives in hand.tones:
        tone = next(t for t in alternatives if t in ALWAYS or _own(t, quality) is not None)
        above = _own(tone, quality)
        places.append(_Place(tone, above or 0, own=above is not None))
    return places


def _own(tone: Tone, quality: Quality) -> int | None:
    """Semitones above the root of the tone that a place names; of OCTAVE 0, for want of any."""
    return 0 if tone is Tone.OCTAVE else quality.above_root(*_DEGREES[tone])


def _take_bass(lefts: list[_Place], rights: list[_Place], bass: int) -> None:
    turning = [p for p in lefts if p.tone is not Tone.OCTAVE] or lefts[:1]
    holders = [p for p in turning if p.above == bass]
    fifths = [p for p in turning if p.tone is Tone.FIFTH and p.above == _PERFECT_FIFTH]
    spare = [p for p in turning if p in fifths or _hold(rights, p.above)]
    roots = [p for p in turning if p.tone is Tone.ROOT]
    spare.sort(key=lambda filled: (filled.above - bass) % 12)
    chosen = [*holders, *spare, *roots, turning[0]][0]
    chosen.above, chosen.bass = bass, True


def _wanted(chord: Chord) -> list[int]:
    """What of the chord should sound besides root, third and perfect fifth, first things first."""
    quality = chord.quality
    third = next((d for d in _DEGREES[Tone.THIRD] if d in quality.degrees), None)
    seventh = next((d for d in (7, 6) if d in quality.degrees), None)
    others = [d for d in quality.degrees if d not in (1, third, 5, seventh)]
    altered_fifth = 5 if quality.above_root(5) not in (None, _PERFECT_FIFTH) else None
    order = [seventh, altered_fifth, *others[-1:], *others[:-1]]
    wanted = [quality.above_root(degree) for degree in order if degree is not None]
    bass = (chord.bass - chord.root) % 12
    return [w for w in wanted if w is not None] + [a for a in chord.added if a != bass]


def _hold(places: list[_Place], above: int) -> bool:
    return any(filled.above == above for filled in places)


def _giving_way(
    lefts: list[_Place], rights: list[_Place], quality: Quality, wanted: int
) -> Iterator[_Place]:
    """The places that may take a tone no place holds, the best first."""
    upper = rights or lefts
    both = bool(lefts and rights)
    seventh = wanted == quality.above_root(7, 6)
    yield from (p for p in upper if not p.own and not p.bass)
    fifths = [p for p in (upper + lefts if seventh else upper) if _may_go(p, Tone.FIFTH, quality)]
    roots = [p for p in rights if _may_go(p, Tone.ROOT, quality)]
    spare_fifths = [p for p in fifths if _spare(p, lefts + rights)]
    spare_roots = roots if both and _hold(lefts, 0) else []
    if seventh:
        yield from spare_fifths
        yield from spare_roots
        if fifths:
            yield from roots
            yield from fifths
    else:
        yield from spare_roots
        yield from spare_fifths


def _may_go(filled: _Place, tone: Tone, quality: Quality) -> bool:
    """Whether a place still holds the root or fifth that it names, and not as the bass."""
    return filled.tone is tone and filled.above == _own(tone, quality) and not filled.bass


def _spare(fifth: _Place, places: list[_Place]) -> bool:
    """A fifth that may be given up: perfect, or held by another place as well."""
    return fifth.above == _PERFECT_FIFTH or any(
        p is not fifth and p.above == fifth.above for p in places
    )
