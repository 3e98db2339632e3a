"""Who holds which key, and whose foot is on the pedal: every cell of both."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.perform.ledger import Ledger, PedalPost

LEFT, RIGHT, MELODY = "left", "right", "melody"


def on(note: int, velocity: int = 80, channel: int = 0) -> bytes:
    return bytes((0x90 | channel, note, velocity))


def off(note: int, velocity: int = 64, channel: int = 0) -> bytes:
    return bytes((0x80 | channel, note, velocity))


# What is done, in order, and what each sends. s: strike, r: release, j: join.
TABLE = {
    "struck and released": [("s", LEFT, [on(60)]), ("r", LEFT, [off(60)])],
    "released twice": [("s", LEFT, [on(60)]), ("r", LEFT, [off(60)]), ("r", LEFT, [])],
    "released by a stranger": [("s", LEFT, [on(60)]), ("r", RIGHT, []), ("r", LEFT, [off(60)])],
    "struck again by its owner": [
        ("s", LEFT, [on(60)]),
        ("s", LEFT, [off(60), on(60)]),
        ("r", LEFT, [off(60)]),
    ],
    "struck by another": [
        ("s", LEFT, [on(60)]),
        ("s", RIGHT, [off(60), on(60)]),
        ("r", LEFT, []),
        ("r", RIGHT, [off(60)]),
    ],
    "the first owner stays last": [
        ("s", LEFT, [on(60)]),
        ("s", RIGHT, [off(60), on(60)]),
        ("r", RIGHT, []),
        ("r", LEFT, [off(60)]),
    ],
    "joined unheard": [
        ("s", MELODY, [on(60)]),
        ("j", LEFT, []),
        ("r", MELODY, []),
        ("r", LEFT, [off(60)]),
    ],
    "joined twice": [
        ("s", MELODY, [on(60)]),
        ("j", LEFT, []),
        ("j", LEFT, []),
        ("r", LEFT, []),
        ("r", MELODY, [off(60)]),
    ],
}


@pytest.mark.parametrize("story", TABLE.values(), ids=TABLE)
def test_a_key_sounds_while_anyone_owns_it(story: list[tuple[str, str, list[bytes]]]) -> None:
    ledger = Ledger()
    for what, owner, sent in story:
        if what == "s":
            assert ledger.strike(owner, 0, 60, 80) == sent
        elif what == "j":
            ledger.join(owner, 0, 60)
        else:
            assert ledger.release(owner, 0, 60) == sent
        assert ledger.owned(owner, 0, 60) == (what != "r")
    assert ledger.sounding == ()


def test_the_same_note_on_two_channels_is_two_keys() -> None:
    ledger = Ledger()
    assert ledger.strike(LEFT, 3, 60, 80) == [on(60, channel=3)]
    assert ledger.strike(LEFT, 4, 60, 81) == [on(60, 81, channel=4)]
    assert ledger.sounding == ((3, 60), (4, 60))
    assert ledger.release(LEFT, 3, 60, 20) == [off(60, 20, channel=3)]
    assert ledger.sounding == ((4, 60),)


def test_releasing_everything_ends_each_key_once_whoever_owns_it() -> None:
    ledger = Ledger()
    ledger.strike(LEFT, 0, 64, 80)
    ledger.strike(MELODY, 0, 60, 80)
    ledger.join(LEFT, 0, 60)
    ledger.strike(MELODY, 5, 30, 80)
    assert ledger.release_all() == [off(60), off(64), off(30, channel=5)]
    assert ledger.release_all() == []
    assert ledger.release(LEFT, 0, 60) == []


OWNERS = st.sampled_from([LEFT, RIGHT, MELODY])


@given(st.lists(st.tuples(st.sampled_from("srj"), OWNERS, st.integers(60, 62)), max_size=60))
def test_whatever_happens_ons_and_offs_of_a_key_alternate(moves: list[tuple]) -> None:
    ledger, sent = Ledger(), []
    for what, owner, note in moves:
        if what == "s":
            sent += ledger.strike(owner, 0, note, 80)
        elif what == "r":
            sent += ledger.release(owner, 0, note)
        elif (0, note) in ledger.sounding:
            ledger.join(owner, 0, note)
    sent += ledger.release_all()
    for note in (60, 61, 62):
        kinds = [data[0] for data in sent if data[1] == note]
        assert kinds == [0x90, 0x80] * (len(kinds) // 2)


def pedal(value: int) -> list[bytes]:
    return [bytes((0xB2, 64, value))]


# Each story: who moved, to what, what is sent. Values from 64 are down (MIDI 1.0).
FEET = {
    "the player's values pass, half pedal too": [(30, pedal(30)), (30, []), (90, pedal(90))],
    "ours goes down and up": [("down", pedal(127)), ("up", pedal(0))],
    "ours twice sends once": [("down", pedal(127)), ("down", []), ("up", pedal(0)), ("up", [])],
    "the player's outlasts ours": [
        ("down", pedal(127)), (100, pedal(100)), ("up", []), (0, pedal(0)),
    ],
    "ours outlasts the player's": [
        (100, pedal(100)), ("down", []), (0, []), ("up", pedal(0)),
    ],
    "63 is up and 64 is down": [
        ("down", pedal(127)), (63, []), (64, pedal(64)), ("up", []), (63, pedal(63)),
    ],
    "a half pedal comes back when ours goes up": [
        (40, pedal(40)), ("down", pedal(127)), (50, []), ("up", pedal(50)),
    ],
    "lifting takes both feet off": [
        (100, pedal(100)), ("down", []), ("lift", pedal(0)), ("up", []), ("lift", []),
    ],
    "lifting forgets the player's half pedal": [
        ("down", pedal(127)), (50, []), ("lift", pedal(0)), ("down", pedal(127)), ("up", pedal(0)),
    ],
}  # fmt: skip


@pytest.mark.parametrize("story", FEET.values(), ids=FEET)
def test_the_pedal_is_down_while_either_foot_wants_it(story: list[tuple]) -> None:
    post = PedalPost(2)
    for move, sent in story:
        match move:
            case "down" | "up":
                assert post.program(down=move == "down") == sent
                assert post.ours == (move == "down")
            case "lift":
                assert post.lift() == sent
                assert not post.ours
            case value:
                assert post.player(value) == sent
