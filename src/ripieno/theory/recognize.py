"""From keys to a chord: the one place where the rule of reading is written down.

Every key down belongs to the chord, the lowest is its bass, and its root is among them. Each
quality on each of these roots is a way to read the keys; it costs what `_COSTS` says, and the
cheapest is the reading. So, by the sums that occur:

     0  the keys are the quality's tones, root in the bass: C E G A is C6, A C E G is Am7
     4  the same, with its third, fifth, sixth or seventh in the bass (or the fourth or second
        of a suspended chord): E A C is Am/E
     5  a triad or seventh chord over a bass that it does not have: C/D
     5  an extended chord without the tones between its seventh and its top: C E G Bb A is C13
     6  a chord without its perfect fifth: C E Bb is C7(no5)
     7  a ninth, eleventh or thirteenth in the bass, which is hardly an inversion: D C E G is
        C/D before it is Cadd9/D, but D C E F G Bb is C11/D
     8  without its third, or with an added tone
    12  without any other tone

A single tone and a bare fifth are read only where nothing else sounds: C G Ab is
Abmaj7(no5)/C, not a fifth with an added tone.

Of readings that cost the same the commoner quality comes first, by decades of how often it
occurs (see `_SHARES`). Of equally common ones, a chord of the key comes before others; then
one on the root of the previous chord (so that C F G over G after C is Csus4, not Fsus2); then
the more frequent quality; then the root that lies the fewest semitones above the bass.

Reading commutes with transposition: nothing but the key and the previous chord knows where
the keys lie.

Suspended chords and sixths are other chords' inversions, and so are augmented and diminished
sevenths their own: sus4(x) = sus2(x+5), 6(x) = m7(x+9), m6(x) = m7b5(x+9). The bass decides.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from ripieno.theory.chord import QUALITIES, Chord, Quality
from ripieno.theory.key import Key


class _Costs(NamedTuple):
    inversion: int = 4
    foreign_bass: int = 5
    inner_extensions: int = 5  # all of them together
    perfect_fifth: int = 6
    extension_in_bass: int = 7
    third: int = 8  # of a chord with a perfect fifth
    added_tone: int = 8
    other_tone: int = 12


_COSTS = _Costs()

# How often a quality occurs, in per cent: the highest share in POP909 (909 pop songs, labels
# from MIDI and from audio), the Nottingham collection (1,034 tunes) and the annotated Mozart
# piano sonatas. Qualities that are not here occur in less than 0.1 % anywhere.
_SHARES = {
    "maj": 60.6,
    "min": 31.8,
    "7": 21.2,
    "min7": 14.9,
    "dim": 5.9,
    "sus2": 4.8,
    "maj7": 4.2,
    "dim7": 3.4,
    "add9": 3.2,
    "sus4": 2.3,
    "7sus4": 1.0,
    "hdim7": 0.7,
    "6": 0.6,
    "aug": 0.2,
}
_DECADES = (10, 1, 0.1)
COMMON = frozenset(_SHARES)  # their ids

_MOST_ALTERNATIVES = 4
_FAR = 6  # an alternative that costs so much more than the reading is none


@dataclass(frozen=True, slots=True)
class Reading:
    """What a set of keys is. `keys` ascend; `alternatives` are the next best, best first."""

    chord: Chord
    keys: tuple[int, ...]
    alternatives: tuple[Chord, ...]


def recognize(
    keys: Iterable[int], key: Key | None = None, previous: Chord | None = None
) -> Reading:
    """The best reading of one or more note numbers, 0..127, in any order.

    `key` and `previous` only break ties. Readings are remembered: the first of a set of
    intervals takes a fraction of a millisecond, all later ones microseconds.
    """
    held = tuple(sorted(set(keys)))
    assert held, "no keys: there is nothing to read"
    lowest = held[0]
    above = 0
    for note in held:
        above |= 1 << (note - lowest) % 12
    chords, tied = _plain(above, lowest % 12)
    if tied and (key or previous):
        chords = _settled(above, lowest % 12, key, previous.root if previous else None)
    return Reading(chords[0], held, chords[1:])


class _Way(NamedTuple):
    """One way to read keys, relative to their bass. Tuples compare in order of rank."""

    cost: int
    decade: int
    order: int  # in `_VOCABULARY`
    root: int  # semitones above the bass
    added: tuple[int, ...]
    omitted: tuple[int, ...]


class _Entry(NamedTuple):
    """A quality prepared for comparing sets of semitones above the root, as bit masks."""

    quality: Quality
    decade: int
    tones: int
    inner: int  # the natural extensions between the seventh and the top
    fifth: int  # the perfect fifth, if it may be missed lightly
    third: int  # the third of a chord with a perfect fifth
    extensions: int  # the tones above the seventh
    bears_foreign: bool  # whether it may stand over a bass that it does not have
    bears_others: bool  # whether it is still itself when other tones sound


_NATURAL = (1 << 2, 1 << 5)  # the ninth and the eleventh; an altered one makes the chord


def _entry(quality: Quality) -> _Entry:
    bits = {d: 1 << s for d, s in zip(quality.degrees, quality.semitones, strict=True)}
    third, fifth = bits.get(3, 0), bits.get(5, 0) & 1 << 7
    share = _SHARES.get(quality.id, 0)
    return _Entry(
        quality,
        sum(share < decade for decade in _DECADES),
        sum(bits.values()),
        sum(bit for degree, bit in bits.items() if 7 < degree < max(bits) and bit in _NATURAL),
        fifth if third or 7 in bits else 0,
        third if fifth else 0,
        sum(bit for degree, bit in bits.items() if degree > 7),
        len(bits) in (3, 4) and max(bits) <= 7,
        len(bits) > 2,
    )


_VOCABULARY = tuple(
    _entry(quality) for quality in sorted(QUALITIES.values(), key=lambda q: -_SHARES.get(q.id, 0))
)

# What each tone that the keys lack or add costs at least, the bass and inner extensions apart.
_LEAST_COST = min(_COSTS.perfect_fifth, _COSTS.third, _COSTS.added_tone, _COSTS.other_tone)
_TONES = tuple([(entry.tones, ~entry.inner) for entry in _VOCABULARY])


def _cost(entry: _Entry, held: int, bass: int) -> int:
    """What it costs to read `held` as the quality: bits above the root, `bass` the lowest's."""
    missing, added = entry.tones & ~held, held & ~entry.tones
    cost = 0
    if bass & added:
        bears = entry.bears_foreign and not missing
        cost = _COSTS.foreign_bass if bears else _COSTS.inversion + _COSTS.added_tone
        added ^= bass
    elif bass & entry.extensions:
        cost = _COSTS.extension_in_bass
    elif bass != 1:
        cost = _COSTS.inversion
    cost += _COSTS.added_tone * added.bit_count()
    return cost + _missing_cost(entry, missing) if missing else cost


def _missing_cost(entry: _Entry, missing: int) -> int:
    cost = _COSTS.inner_extensions if missing & entry.inner else 0
    cost += _COSTS.perfect_fifth if missing & entry.fifth else 0
    cost += _COSTS.third if missing & entry.third else 0
    others = missing & ~(entry.inner | entry.fifth | entry.third)
    return cost + _COSTS.other_tone * others.bit_count()


def _semitones(bits: int) -> tuple[int, ...]:
    return tuple([semitones for semitones in range(12) if bits >> semitones & 1])


@lru_cache(maxsize=2048)  # all the sets of intervals above a bass that there are
def _ways(above: int) -> tuple[_Way, ...]:
    """The ways to read the keys `above` a bass, one bit a semitone, best first.

    Qualities are tried in the order of how many tones they differ in, as long as they can still
    be near the best: for a common chord a few of some hundred.
    """
    rows = _differences(above)
    found: list[tuple[int, int, int, int, int]] = []
    for count in range(12):
        if found and _LEAST_COST * count >= min(found)[0] + _FAR:
            break
        for root, held, bass, counts in rows:
            for order in [order for order, differing in enumerate(counts) if differing == count]:
                entry = _VOCABULARY[order]
                if entry.bears_others or held == entry.tones:
                    found.append((_cost(entry, held, bass), entry.decade, order, root, held))
    found.sort()
    far = found[0][0] + _FAR
    return tuple([_way(*way) for way in found if way[0] < far])


def _differences(above: int) -> list[tuple[int, int, int, list[int]]]:
    """Each possible root, the keys and the bass above it, and how many tones each quality differs.

    The bass and inner extensions are not counted.
    """
    rows = []
    for root in _semitones(above):
        held, bass = (above >> root | above << 12 - root) & 0xFFF, 1 << -root % 12
        counts = [((held ^ tones) & counted & ~bass).bit_count() for tones, counted in _TONES]
        rows.append((root, held, bass, counts))
    return rows


def _way(cost: int, decade: int, order: int, root: int, held: int) -> _Way:
    entry = _VOCABULARY[order]
    missing = entry.tones & ~held
    parallel = zip(entry.quality.degrees, entry.quality.semitones, strict=True)
    omitted = tuple([degree for degree, semitones in parallel if missing >> semitones & 1])
    return _Way(cost, decade, order, root, _semitones(held & ~entry.tones), omitted)


@lru_cache(maxsize=4096)  # far more than an evening has
def _plain(above: int, bass: int) -> tuple[tuple[Chord, ...], bool]:
    """The chords without key or previous chord, and whether those could change the order."""
    ways = _ways(above)
    chords = tuple([_chord(way, bass) for way in ways[: _MOST_ALTERNATIVES + 1]])
    return chords, len({(way.cost, way.decade) for way in ways}) < len(ways)


@lru_cache(maxsize=4096)
def _settled(
    above: int, bass: int, key: Key | None, previous_root: int | None
) -> tuple[Chord, ...]:
    """The chords, ties broken by key and previous chord."""

    def rank(way: _Way) -> tuple[int, int, bool, bool, _Way]:
        root = (bass + way.root) % 12
        foreign = key is not None and not key.owns(root, _VOCABULARY[way.order].quality)
        return way.cost, way.decade, foreign, root != previous_root, way

    best = sorted(_ways(above), key=rank)[: _MOST_ALTERNATIVES + 1]
    return tuple([_chord(way, bass) for way in best])


def _chord(way: _Way, bass: int) -> Chord:
    quality = _VOCABULARY[way.order].quality
    return Chord((bass + way.root) % 12, quality, bass, way.added, way.omitted)
