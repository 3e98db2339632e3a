"""Voice-leading sizes against published values and against every possible pairing."""

from itertools import permutations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ripieno.theory.leading import distance, movement, nearest

SHAPES = {
    "major": (0, 4, 7),
    "minor": (0, 3, 7),
    "dim": (0, 3, 6),
    "aug": (0, 4, 8),
    "sus4": (0, 5, 7),
    "sus2": (0, 2, 7),
    "7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11),
    "min7": (0, 3, 7, 10),
    "dim7": (0, 3, 6, 9),
}

# From C major to the chord on C, Db, D ... B: a brute force over all one-to-one pairings,
# made apart from this program. Single published values stand in the tests below.
FROM_C_MAJOR = {
    "major": (0, 3, 6, 3, 2, 3, 6, 3, 2, 3, 6, 3),
    "minor": (1, 2, 5, 4, 1, 2, 5, 4, 3, 2, 5, 4),
    "dim": (2, 1, 4, 5, 2, 3, 4, 5, 4, 3, 4, 5),
    "aug": (1, 4, 5, 2, 1, 4, 5, 2, 1, 4, 5, 2),
    "sus4": (1, 4, 5, 4, 3, 4, 5, 2, 3, 4, 5, 2),
    "sus2": (2, 3, 4, 5, 2, 1, 4, 5, 4, 3, 4, 5),
}

pitch_classes = st.lists(st.integers(0, 11), min_size=1, max_size=4, unique=True)
untimed = settings(deadline=None)
held = st.lists(st.integers(40, 80), min_size=1, max_size=5, unique=True).map(sorted)


def chord(root: int, shape: str) -> tuple[int, ...]:
    return tuple((root + above) % 12 for above in SHAPES[shape])


def circle(a: int, b: int) -> int:
    return min((a - b) % 12, (b - a) % 12)


def cheapest_cover(start, goal, cost) -> int:
    """Each of `start` goes somewhere; what nobody reached is reached from its nearest."""
    sizes = []
    for targets in product(range(len(goal)), repeat=len(start)):
        size = sum(cost(a, goal[t]) for a, t in zip(start, targets, strict=True))
        missed = set(range(len(goal))) - set(targets)
        sizes.append(size + sum(min(cost(a, goal[t]) for a in start) for t in missed))
    return min(sizes)


@pytest.mark.parametrize("shape", FROM_C_MAJOR)
def test_distance_from_c_major_is_the_table(shape):
    row = tuple(distance(chord(0, "major"), chord(root, shape)) for root in range(12))
    assert row == FROM_C_MAJOR[shape]


def test_minor_to_minor_is_the_row_of_major_to_major():
    row = tuple(distance(chord(0, "minor"), chord(root, "minor")) for root in range(12))
    assert row == FROM_C_MAJOR["major"]


@pytest.mark.parametrize(
    ("goal", "size"),
    [
        # The three neo-Riemannian exchanges: parallel and leading-tone exchange move one voice
        # by one semitone, relative by two (piatra.institute/playgrounds/plr-harmony); N, S and
        # H as music21's neoRiemannian module spells them out note by note.
        (chord(0, "minor"), 1),
        (chord(4, "minor"), 1),
        (chord(9, "minor"), 2),
        (chord(5, "minor"), 2),
        (chord(1, "minor"), 2),
        (chord(8, "minor"), 3),
    ],
)
def test_distance_of_neo_riemannian_exchanges(goal, size):
    assert distance(chord(0, "major"), goal) == size


def test_a_doubling_shortens_the_way_as_in_the_published_example():
    # Tymoczko 2006, supplement to "The Geometry of Musical Chords", text of fig. S12:
    # (4,4,7,11,0) to (3,4,8,11,11), size 3. One-to-one it is 4 (brute force).
    assert distance(chord(0, "maj7"), chord(4, "maj7"), doublings=True) == 3
    assert distance(chord(0, "maj7"), chord(4, "maj7")) == 4


@pytest.mark.parametrize(
    ("start", "goal", "size"),
    [  # brute force, made apart from this program
        (chord(2, "min7"), chord(7, "7"), 3),
        (chord(7, "7"), chord(0, "maj7"), 3),
        (chord(0, "7"), chord(6, "7"), 2),
        (chord(0, "7"), chord(0, "dim7"), 3),
        (chord(0, "dim7"), chord(2, "7"), 1),
        (chord(0, "dim7"), chord(5, "7"), 1),
        (chord(0, "dim7"), chord(8, "7"), 1),
        (chord(0, "dim7"), chord(11, "7"), 1),
        (chord(7, "7"), chord(0, "major"), 4),
    ],
)
def test_distance_between_sevenths(start, goal, size):
    assert distance(start, goal) == size


@untimed
@given(pitch_classes, pitch_classes)
def test_distance_is_the_least_of_all_pairings(start, goal):
    if len(start) == len(goal):
        ways = [sum(map(circle, start, order)) for order in permutations(goal)]
        assert distance(start, goal) == min(ways)
    assert distance(start, goal, doublings=True) == cheapest_cover(start, goal, circle)


@untimed
@given(held, held)
def test_movement_is_the_least_of_all_pairings(before, after):
    def keys(a, b):
        return abs(a - b)

    if len(before) == len(after):
        ways = [sum(map(keys, before, order)) for order in permutations(after)]
        assert movement(before, after) == min(ways)
    elif max(len(before), len(after)) <= 4:
        assert movement(before, after) == cheapest_cover(before, after, keys)


@untimed
@given(held, held)
def test_no_hand_moves_less_than_its_chords_are_apart(before, after):
    start, goal = {n % 12 for n in before}, {n % 12 for n in after}
    assert movement(before, after) >= distance(start, goal, doublings=True)


def test_nearest_takes_the_least_movement_and_the_first_of_equals():
    c_major = (60, 64, 67)
    assert nearest(c_major, [(65, 69, 72), (60, 65, 69), (57, 60, 65)]) == (60, 65, 69)
    assert nearest(c_major, [(61, 64, 67), (59, 64, 67)]) == (61, 64, 67)
