"""What a hand can hold, which fingers hold it, and what the low register bears.

Relaxed spans between fingers: Parncutt, Sloboda, Clarke, Raekallio and Desain, "An ergonomic
model of keyboard fingering for melodic fragments", Music Perception 14 (4), 1997, as
transcribed in the public fingering library pydactyl; another transcription has 11 for the
largest span of 1-5, and neither was compared with the paper. A semitone outside counts one
point for every pair of fingers that is down. The paper's further rules (pairs without the
thumb count double, stretches beyond comfort and practice more) were tried: they change 37 of
2,379 fingerings within an octave, and none of the printed ones in the tests.

Spans are measured from key to key, not counted in semitones (the refinement of Jacobs,
Music Perception 18 (4), 2001): thirds of two white keys are equally wide under the hand,
major or minor, and others are not. That decides between the third and the fourth finger
as Beringer and Dunhill (1900) do.
"""

from collections.abc import Sequence
from enum import StrEnum
from functools import lru_cache
from itertools import combinations, pairwise

# Most that one hand holds, in semitones: a hand span of 6.7, 7.6 and 8.5 inches
# (calendar-australia.com; a tenth is out of reach for about a quarter of men and 87 % of
# women, paskpiano.org).
OCTAVE, NINTH, TENTH = 12, 14, 16

# The lowest note that may be the lower of two sounding neighbours, by their distance in
# semitones. Three public tables (sweetwater.com "low interval limit" and two in source
# code) differ by up to three semitones; the highest of the three values stands here. One
# tritone at B1, below the same table's fifth, is taken for a misprint. Octaves and
# distances above a major tenth are free.
LOW_INTERVAL_LIMITS = {
    1: 52,
    2: 51,
    3: 48,
    4: 47,
    5: 46,
    6: 47,
    7: 37,
    8: 43,
    9: 41,
    10: 41,
    11: 41,
    13: 40,
    14: 39,
    15: 36,
    16: 34,
}

_WHITE_KEYS = (0, 2, 4, 5, 7, 9, 11)
_WHITE_MM = 23.5  # the width of a white key (instrumentinsight.com)
_OCTAVE_MM = 7 * _WHITE_MM


class Side(StrEnum):
    LEFT = "left"
    RIGHT = "right"


# Semitones, least and most, at which two fingers lie relaxed.
_RELAXED = {
    (1, 2): (1, 5),
    (1, 3): (3, 7),
    (1, 4): (5, 9),
    (1, 5): (7, 10),
    (2, 3): (1, 2),
    (2, 4): (3, 4),
    (2, 5): (5, 6),
    (3, 4): (1, 2),
    (3, 5): (3, 4),
    (4, 5): (1, 2),
}


def above_low_limits(notes: Sequence[int]) -> bool:
    """Whether no two neighbours of the ascending `notes` lie too close for their register."""
    return all(low >= LOW_INTERVAL_LIMITS.get(high - low, 0) for low, high in pairwise(notes))


@lru_cache(maxsize=512)
def fingering(notes: tuple[int, ...], side: Side) -> tuple[int, ...]:
    """The fingers, 1 (thumb) to 5, that strike the ascending `notes` together, low to high.

    The one that strains least. Among equals the lowest note has the hand's lowest finger if
    it can, then the fingers are spread widest: C E G is 1-3-5 or 5-3-1. 1..5 notes.
    """
    return min(_choices(len(notes), side), key=lambda fingers: _strain(notes, fingers, side))


def _choices(count: int, side: Side) -> list[tuple[int, ...]]:
    ways = list(combinations((1, 2, 3, 4, 5), count))
    low, step = (1, 1) if side is Side.RIGHT else (5, -1)
    ordered = [way[::step] for way in ways]
    return sorted(ordered, key=lambda way: (abs(way[0] - low), -abs(way[-1] - way[0]), way))


def _strain(notes: tuple[int, ...], fingers: tuple[int, ...], side: Side) -> int:
    """Semitones outside the relaxed spans, over all pairs of fingers."""
    held = list(zip(notes, fingers, strict=True))
    thumb_first = held if side is Side.RIGHT else held[::-1]
    strain = 0
    for (note, finger), (other_note, other_finger) in combinations(thumb_first, 2):
        least, most = _RELAXED[finger, other_finger]
        span = _span(note, other_note)
        strain += max(least - span, span - most, 0)
    return strain


def _span(a: int, b: int) -> int:
    """How far apart two keys are under the hand, to the nearest semitone of the octave's mm."""
    return round(abs(_place_mm(b) - _place_mm(a)) * 12 / _OCTAVE_MM)


def _place_mm(note: int) -> float:
    """Where the middle of a key lies.

    The rear ends of the keys share the room equally, five in the width of C D E and seven
    in that of F G A B: 14.1 and 13.4 mm, where a black key measures 13.7. White keys are
    struck in the middle of their front.
    """
    octave, end = divmod(note, 12)
    if end in _WHITE_KEYS:
        whites = _WHITE_KEYS.index(end) + 0.5
    else:
        whites = 3 * (end + 0.5) / 5 if end < 5 else 3 + 4 * (end - 4.5) / 7
    return octave * _OCTAVE_MM + whites * _WHITE_MM
