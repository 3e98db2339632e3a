"""What is played goes on from where it is, and changes its tempo by little at a time."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.bending import Bend, bent, most_change
from ripieno.perform.following import Course
from ripieno.units import NS_PER_MS, NS_PER_S

HALF_S = NS_PER_S / 2
courses = st.builds(
    Course,
    st.integers(0, 100 * NS_PER_S),
    st.floats(0, 1000),
    st.floats(150 * NS_PER_MS, 3000 * NS_PER_MS),
)
leans = st.integers(0, 100)


def settled(now_ns: int, played: Course, estimate: Course, lean: int) -> list[Bend]:
    """All bends until nothing is left to absorb."""
    bends = [bent(now_ns, played, estimate, lean)]
    while (next_ns := bends[-1].next_change_ns) is not None and len(bends) < 500:
        bends.append(bent(next_ns, bends[-1].course, estimate, lean))
    return bends


@given(played=courses, estimate=courses, lean=leans, now_ns=st.integers(0, 200 * NS_PER_S))
def test_the_place_never_jumps_and_the_tempo_changes_by_no_more_than_it_may(
    played: Course, estimate: Course, lean: int, now_ns: int
) -> None:
    bend = bent(now_ns, played, estimate, lean)
    assert bend.course.at_ns == now_ns
    assert bend.course.position_beats == played.position(now_ns)
    most = 1 + most_change(lean) + 1e-9
    assert played.beat_ns / most <= bend.course.beat_ns <= played.beat_ns * most
    assert 150 * NS_PER_MS <= bend.course.beat_ns <= 3000 * NS_PER_MS  # 400 and 20 a minute
    assert bend.next_change_ns is None or bend.next_change_ns > now_ns


@pytest.mark.parametrize("behind", [-0.2, -0.05, 0.05, 0.2])
def test_a_difference_is_made_up_for_in_a_beat(behind: float) -> None:
    estimate = Course(0, 8 + behind, HALF_S)
    first, second = settled(0, Course(0, 8.0, HALF_S), estimate, 100)
    assert first.next_change_ns == NS_PER_S // 2
    assert second.course.position_beats == pytest.approx(9 + behind)
    assert second.course.beat_ns == HALF_S


@given(
    behind=st.floats(-0.5, 0.5),
    tempo=st.floats(0.7, 1.4),
    lean=st.integers(20, 100),
)
def test_in_the_end_the_estimate_is_played(behind: float, tempo: float, lean: int) -> None:
    estimate = Course(0, 8 + behind, HALF_S * tempo)
    last = settled(0, Course(0, 8.0, HALF_S), estimate, lean)[-1]
    assert last.next_change_ns is None
    at_ns = last.course.at_ns
    assert last.course.beat_ns == estimate.beat_ns
    assert last.course.position(at_ns) == pytest.approx(estimate.position(at_ns), abs=1e-6)


def test_at_no_lean_no_beat_differs_noticeably_from_the_one_before() -> None:
    """2.5 % of the interval is just noticed (Friberg and Sundberg 1995)."""
    bends = settled(0, Course(0, 8.0, HALF_S), Course(0, 8.0, HALF_S / 1.2), 0)
    lengths = [bend.course.beat_ns for bend in bends]
    changes = [max(a, b) / min(a, b) for a, b in pairwise(lengths)]
    assert max(changes) <= 1.025 + 1e-9
    assert lengths[0] == pytest.approx(HALF_S / 1.025)


def test_twenty_per_cent_are_reached_within_a_beat_at_full_lean() -> None:
    first = bent(0, Course(0, 8.0, HALF_S), Course(0, 8.0, HALF_S / 1.2), 100)
    assert first.course.beat_ns == HALF_S / 1.2
    assert first.next_change_ns is None
