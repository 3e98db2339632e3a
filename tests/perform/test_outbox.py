"""What one instant sends, and in which order it leaves."""

from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.ledger import Ledger
from ripieno.perform.outbox import MELODY, Outbox, outer_first

NS = 12_345


def shown(outbox: Outbox) -> list[tuple[int, int, int]]:
    sends = outbox.flush(NS)
    assert {send.due_ns for send in sends} <= {NS}
    return [tuple(send.data) for send in sends]


def test_releases_leave_first_then_the_outer_notes_then_the_inner_then_the_pedal() -> None:
    # The outer voices are what is heard while a wire carries a note a millisecond (MIDI 1.0:
    # 320 microseconds a byte); a legato pedal rises after the new notes.
    ledger = Ledger()
    outbox = Outbox(ledger, 5)
    outbox.strike("a", 61, 70)
    assert outbox.strikes
    assert shown(outbox) == [(0x95, 61, 70)]
    assert not outbox.strikes
    outbox.control([bytes((0xB5, 64, 0))])
    for note, velocity in ((64, 4), (72, 7), (60, 1), (67, 5), (48, 2)):
        outbox.strike("b", note, velocity)
    outbox.release("a", 61)
    assert shown(outbox) == [
        (0x85, 61, 64),
        (0x95, 48, 2),
        (0x95, 72, 7),
        (0x95, 60, 1),
        (0x95, 64, 4),
        (0x95, 67, 5),
        (0xB5, 64, 0),
    ]
    assert ledger.sounding == tuple((5, note) for note in (48, 60, 64, 67, 72))
    assert shown(outbox) == []


def test_a_key_that_the_melody_holds_is_joined_and_not_struck() -> None:
    ledger = Ledger()
    ledger.strike(MELODY, 0, 60, 99)
    outbox = Outbox(ledger, 0)
    outbox.strike("hand", 60, 50)
    assert shown(outbox) == []
    assert ledger.release(MELODY, 0, 60) == []
    outbox.release("hand", 60)
    assert shown(outbox) == [(0x80, 60, 64)]


def test_a_note_released_and_struck_in_one_instant_comes_up_before_it_goes_down() -> None:
    outbox = Outbox(Ledger(), 0)
    outbox.strike("a", 60, 50)
    outbox.flush(NS)
    outbox.strike("b", 60, 51)
    outbox.release("a", 60)
    assert shown(outbox) == [(0x80, 60, 64), (0x90, 60, 51)]


@given(st.lists(st.integers(0, 127), max_size=10))
def test_outer_first_loses_nothing(notes: list[int]) -> None:
    ordered = [note for note, _, _ in outer_first([(note, "hand", 1) for note in notes])]
    assert sorted(ordered) == sorted(notes)
    assert ordered[:2] == [min(notes), max(notes)][: len(notes)] if notes else ordered == []
    assert ordered[2:] == sorted(ordered[2:])
