"""Round trips from messages made by hand."""

from hypothesis import given
from hypothesis import strategies as st

from ripieno.latency.figures import BARE, TIME_OUT_NS, TRIP_FIRST, TRIP_LAST, Sample
from ripieno.latency.trips import Passed, answers, echoes
from ripieno.perform.message import control, note_off, note_on
from ripieno.units import NS_PER_MS

MS = NS_PER_MS


def marked(number: int) -> bytes:
    return control(15, 85, number)


def test_each_message_is_matched_with_its_own_bytes_in_whatever_order_they_come() -> None:
    sent = [Passed(0, marked(1)), Passed(10, marked(2))]
    back = [Passed(40, marked(2)), Passed(90, marked(1))]
    trips = echoes(BARE, sent, back)
    assert trips.samples == (Sample(BARE, 0, 90), Sample(BARE, 10, 30))
    assert trips.lost == 0


def test_what_does_not_come_or_comes_after_the_time_out_is_lost() -> None:
    sent = [Passed(0, marked(1)), Passed(10, marked(2)), Passed(20, marked(3))]
    trips = echoes(BARE, sent, [Passed(10 + TIME_OUT_NS + 1, marked(2)), Passed(50, marked(3))])
    assert trips.samples == (Sample(BARE, 20, 30),)
    assert trips.lost == 2


def test_bytes_that_come_again_are_not_taken_for_the_answer_to_a_later_message() -> None:
    sent = [Passed(0, marked(1)), Passed(5 * MS, marked(1))]
    assert echoes(BARE, sent, [Passed(2 * MS, marked(1))]).lost == 1


@given(st.lists(st.tuples(st.integers(0, 10**6), st.booleans()), max_size=60))
def test_every_message_is_either_a_sample_or_lost(sent: list[tuple[int, bool]]) -> None:
    messages = [Passed(n * 2 * 10**6, marked(n)) for n in range(len(sent))]
    back = [
        Passed(message.at_ns + late, message.data)
        for message, (late, comes) in zip(messages, sent, strict=True)
        if comes
    ]
    trips = echoes(BARE, messages, reversed(back))
    assert [s.value_ns for s in trips.samples] == [late for late, comes in sent if comes]
    assert trips.lost == sum(not comes for _, comes in sent)


def test_a_chord_is_answered_by_the_notes_of_its_channel_before_the_next_chord() -> None:
    back = [
        Passed(1 * MS, note_off(0, 40)),
        Passed(2 * MS, note_on(15, 90, 64)),
        Passed(3 * MS, note_on(0, 48, 64)),
        Passed(4 * MS, note_on(0, 60, 64)),
        Passed(103 * MS, note_on(0, 50, 64)),
    ]
    trips = answers([0, 100 * MS], back, channel=0)
    assert trips.samples == (
        Sample(TRIP_FIRST, 0, 3 * MS), Sample(TRIP_LAST, 0, 4 * MS),
        Sample(TRIP_FIRST, 100 * MS, 3 * MS), Sample(TRIP_LAST, 100 * MS, 3 * MS),
    )  # fmt: skip


def test_a_chord_without_a_note_is_lost_and_takes_none_of_the_next() -> None:
    trips = answers([0, 100 * MS], [Passed(101 * MS, note_on(0, 48, 64))], channel=0)
    assert trips.lost == 1
    assert [s.at_ns for s in trips.samples] == [100 * MS, 100 * MS]


def test_a_note_long_after_the_others_is_not_the_chords_last() -> None:
    back = [Passed(at * MS, note_on(0, 48, 64)) for at in (3, 5, 500)]
    assert answers([0], back, channel=0).samples[1] == Sample(TRIP_LAST, 0, 5 * MS)
