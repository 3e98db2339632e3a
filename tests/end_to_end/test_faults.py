"""The fault suite, a little of each part, on a JACK server of its own.

How long a recovery takes is for the suite to say (`python benchmarks/faults`); here it has to
happen. A part's `sound` is all but the time: no note hanging at the instrument, nothing left over,
everything as it was.
"""

from collections.abc import Callable

import pytest

from faults import (
    control_lines,
    disk,
    engine_killed,
    gig,
    host_killed,
    midi_bytes,
    panic,
    readers,
    server_killed,
    unplugged,
)
from faults.account import Account
from faults.outcome import Outcome
from faults.server import CannotRun

ON, OFF = bytes((0x90, 60, 80)), bytes((0x80, 60, 64))


def found(run: Callable[[int], list[Outcome]], count: int) -> list[Outcome]:
    try:
        outcomes = run(count)
    except CannotRun as reason:
        pytest.skip(str(reason))
    assert outcomes
    assert all(outcome.sound and not outcome.hanging for outcome in outcomes), outcomes
    return outcomes


@pytest.mark.jack
def test_an_engine_killed_while_ten_notes_sound_ends_them_and_plays_on_as_it_was() -> None:
    found(engine_killed.run, 2)


@pytest.mark.jack
@pytest.mark.long
def test_a_port_that_was_pulled_plays_again_and_leaves_no_note_hanging() -> None:
    found(unplugged.run, 4)


@pytest.mark.jack
@pytest.mark.long
def test_after_the_jack_server_was_killed_it_plays_again_and_no_process_is_left() -> None:
    found(server_killed.run, 1)


@pytest.mark.jack
@pytest.mark.long
def test_what_a_killed_host_leaves_is_ended_and_the_next_start_plays() -> None:
    found(host_killed.run, 1)


@pytest.mark.jack
@pytest.mark.long
def test_random_control_lines_are_all_answered_and_it_plays_on() -> None:
    found(control_lines.run, 2_000)


@pytest.mark.jack
@pytest.mark.long
def test_random_midi_bytes_end_every_note_that_they_begin() -> None:
    found(midi_bytes.run, 50_000)


@pytest.mark.jack
@pytest.mark.long
def test_clients_that_never_read_leave_the_figure_playing() -> None:
    (outcome,) = found(readers.run, 1)
    assert outcome.count > 0


@pytest.mark.jack
@pytest.mark.long
def test_with_nowhere_to_write_it_plays_on_and_says_so() -> None:
    assert len(found(disk.run, 1)) == 4


@pytest.mark.jack
@pytest.mark.long
def test_every_way_to_ask_for_silence_silences_a_dense_figure() -> None:
    assert len(found(panic.run, 1)) == 4


def test_a_gig_keeps_its_account_of_notes_and_replays_as_it_was() -> None:
    found(gig.run, 3)


def test_the_account_takes_nothing_but_a_notes_own_note_off_for_its_end() -> None:
    account = Account()
    account.feed(1, ON)
    for number in (64, 120, 123):  # pedal up, all sound off, all notes off
        account.feed(2, bytes((0xB0, number, 0)))
    account.feed(3, bytes((0x81, 60, 64)))  # on another channel
    assert account.sounding_since_before(2) == [(0, 60)]
    account.feed(4, OFF)
    assert account.sounding_since_before(2) == []
    assert account.last_end_of_older(1) == 4
    assert account.last_end_of_older(4) is None
