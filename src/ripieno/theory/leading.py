"""How far voices move from one chord to the next, and which voicing is nearest.

Sizes are sums of semitones over all voices (the L1 size of Tymoczko, "The Geometry of
Musical Chords", Science 313, 2006). `distance` compares chords as pitch classes, wherever
they lie; `movement` compares what two hands hold on the keyboard. No hand can move less
than the distance between its chords.
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import product
from operator import sub

Notes = tuple[int, ...]


def distance(from_pcs: Iterable[int], to_pcs: Iterable[int], *, doublings: bool = False) -> int:
    """The least semitones in which one chord's pitch classes become the other's.

    Each voice goes to one pitch class and each pitch class is reached. Where the chords
    differ in size, or `doublings` allows it, a pitch class may stand in two voices:
    C E G B to B D# E G# costs 4 without a doubling and 3 with one. Neither may be empty.
    """
    start, goal = sorted(set(from_pcs)), sorted(set(to_pcs))
    turns = [goal[k:] + goal[:k] for k in range(len(goal))]
    if doublings or len(start) != len(goal):
        return min(_closed_warp(start, turn) for turn in turns)
    return min(sum(map(_around_circle, start, turn)) for turn in turns)


def movement(notes_from: Sequence[int], notes_to: Sequence[int]) -> int:
    """The least semitones in which a hand goes from one voicing to the other.

    Both ascend and neither is empty. Voices do not cross: crossing never shortens the way.
    Where the voicings differ in size, notes of the smaller are met by several voices.
    """
    if len(notes_from) == len(notes_to):
        return sum(map(abs, map(sub, notes_from, notes_to)))
    return _warp(notes_from, notes_to, _apart)


def nearest(previous: Notes, candidates: Iterable[Notes]) -> Notes:
    """The candidate with the least movement from `previous`, the first of equals."""
    return min(candidates, key=lambda notes: movement(previous, notes))


def _apart(a: int, b: int) -> int:
    return abs(a - b)


def _around_circle(a: int, b: int) -> int:
    up = (b - a) % 12
    return min(up, 12 - up)


def _closed_warp(start: list[int], goal: list[int]) -> int:
    """`_warp` once around the circle, back to the pair it set out from, counted once."""
    closed = _warp([*start, start[0]], [*goal, goal[0]], _around_circle)
    return closed - _around_circle(start[0], goal[0])


def _warp(a: Sequence[int], b: Sequence[int], cost: Callable[[int, int], int]) -> int:
    """The cheapest way to pair both sequences in order, first with first, last with last.

    Every element is paired at least once; pairs do not cross (dynamic time warping).
    """
    best: dict[tuple[int, int], int] = {}
    for i, j in product(range(len(a)), range(len(b))):
        before = [best[cell] for cell in ((i - 1, j - 1), (i - 1, j), (i, j - 1)) if cell in best]
        best[i, j] = cost(a[i], b[j]) + min(before, default=0)
    return best[len(a) - 1, len(b) - 1]
