"""Which tone of a chord each place of a hand takes: its own, the bass, or one more important.

The rules stand in `arrange.voicing`, which sets down what is filled here.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from ripieno.style.model import ALWAYS, Hand, Tone
from ripieno.theory.chord import Quality

_DEGREES = {
    Tone.ROOT: (1,),
    Tone.THIRD: (3, 4, 2),
    Tone.FIFTH: (5,),
    Tone.SIXTH: (6,),
    Tone.SEVENTH: (7,),
    Tone.NINTH: (9,),
}
_PERFECT_FIFTH = 7


@dataclass(slots=True)
class Place:
    """A place being filled. `above`: semitones above the root, 0..11.

    `own`: the chord has the tone that the place names. `bass`: holds a slash chord's bass.
    """

    tone: Tone
    above: int
    own: bool = True
    bass: bool = False


def fill(
    left: Hand | None, right: Hand | None, quality: Quality, bass: int, added: tuple[int, ...]
) -> tuple[list[Place], list[Place]]:
    """The places of both hands with the tones they take."""
    lefts = _own_tones(left, quality) if left else []
    rights = _own_tones(right, quality) if right else []
    if lefts and bass:
        _take_bass(lefts, rights, bass)
    for above in _wanted(quality, bass, added):
        if not _hold(lefts + rights, above):
            giving = next(_giving_way(lefts, rights, quality, above), None)
            if giving is not None:
                giving.above, giving.own = above, True
    return lefts, rights


def _own_tones(hand: Hand, quality: Quality) -> list[Place]:
    places = []
    for alternatives in hand.tones:
        tone = next(t for t in alternatives if t in ALWAYS or _own(t, quality) is not None)
        above = _own(tone, quality)
        places.append(Place(tone, above or 0, own=above is not None))
    return places


def _own(tone: Tone, quality: Quality) -> int | None:
    """Semitones above the root of the tone that a place names; of OCTAVE 0, for want of any."""
    return 0 if tone is Tone.OCTAVE else quality.above_root(*_DEGREES[tone])


def _take_bass(lefts: list[Place], rights: list[Place], bass: int) -> None:
    turning = [p for p in lefts if p.tone is not Tone.OCTAVE] or lefts[:1]
    holders = [p for p in turning if p.above == bass]
    fifths = [p for p in turning if p.tone is Tone.FIFTH and p.above == _PERFECT_FIFTH]
    spare = [p for p in turning if p in fifths or _hold(rights, p.above)]
    roots = [p for p in turning if p.tone is Tone.ROOT]
    spare.sort(key=lambda filled: (filled.above - bass) % 12)
    chosen = [*holders, *spare, *roots, turning[0]][0]
    chosen.above, chosen.bass = bass, True


def _wanted(quality: Quality, bass: int, added: tuple[int, ...]) -> list[int]:
    """What of the chord should sound besides root, third and perfect fifth, first things first."""
    third = next((d for d in _DEGREES[Tone.THIRD] if d in quality.degrees), None)
    seventh = next((d for d in (7, 6) if d in quality.degrees), None)
    others = [d for d in quality.degrees if d not in (1, third, 5, seventh)]
    altered_fifth = 5 if quality.above_root(5) not in (None, _PERFECT_FIFTH) else None
    order = [seventh, altered_fifth, *others[-1:], *others[:-1]]
    wanted = [quality.above_root(degree) for degree in order if degree is not None]
    return [w for w in wanted if w is not None] + [a for a in added if a != bass]


def _hold(places: list[Place], above: int) -> bool:
    return any(filled.above == above for filled in places)


def _giving_way(
    lefts: list[Place], rights: list[Place], quality: Quality, wanted: int
) -> Iterator[Place]:
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


def _may_go(filled: Place, tone: Tone, quality: Quality) -> bool:
    """Whether a place still holds the root or fifth that it names, and not as the bass."""
    return filled.tone is tone and filled.above == _own(tone, quality) and not filled.bass


def _spare(fifth: Place, places: list[Place]) -> bool:
    """A fifth that may be given up: perfect, or held by another place as well."""
    return fifth.above == _PERFECT_FIFTH or any(
        p is not fifth and p.above == fifth.above for p in places
    )
