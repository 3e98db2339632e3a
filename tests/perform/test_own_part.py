"""A muted hand is the player's: what is played for it sounds, and is not read as a chord."""

from itertools import pairwise

import pytest

from rig import A3, A4, B3, C3, C4, C5, D4, E3, E4, F4, G3, G4, Rig
from ripieno.perform.events import SetHold, SetMuted, Show, Stop
from ripieno.perform.own_part import OwnPart, Struck, is_within_reach
from ripieno.perform.settings import ReadKeys
from ripieno.theory.hand import Side
from ripieno.theory.symbol import symbol
from ripieno.units import ns_from_ms

C_MAJOR = (C4, E4, G4)


def practising(side: Side = Side.LEFT, **settings: object) -> Rig:
    """The other hand plays on a C from the beginning; the keys of it are up since 500 ms."""
    rig = Rig("flowing-eighths", muted=side, **settings)
    rig.chord(0, *C_MAJOR, until_ms=500)
    rig.events.append(Stop(ns_from_ms(9000)))
    return rig


def chords(rig: Rig) -> list[str]:
    return [symbol(heard.reading.chord, None) for heard in rig.heard(10_000)]


def own_tones(side: Side) -> tuple[int, ...]:
    return practising(side).performer_at(1000).accompaniment.tones_of_muted


@pytest.mark.parametrize("side", Side)
def test_notes_of_the_muted_hand_sound_as_they_are_and_are_no_chord(side: Side) -> None:
    rig = practising(side)
    alone = {(n.ms, n.note) for n in rig.notes(10_000)}
    tones = own_tones(side)
    assert len(tones) >= 3
    for number, note in enumerate(tones):
        rig.press(2010 + 400 * number, note, velocity=70)
        rig.lift(2310 + 400 * number, note)
    notes = rig.notes(10_000)
    own = [(n.ms, n.length_ms, n.note, n.velocity) for n in notes if (n.ms, n.note) not in alone]
    assert own == [(2010 + 400 * i, 300, note, 70) for i, note in enumerate(tones)]
    assert chords(rig) == ["C"]
    assert alone <= {(n.ms, n.note) for n in notes}


def test_a_wrong_note_within_the_hands_reach_changes_nothing_either() -> None:
    rig = practising()
    low = own_tones(Side.LEFT)[0]
    rig.chord(2010, low + 1, until_ms=2600)
    rig.chord(3010, low + 1, low + 3, until_ms=3600)
    assert chords(rig) == ["C"]
    assert {low + 1, low + 3} <= {n.note for n in rig.notes(10_000)}


def test_a_chord_beyond_the_reach_is_read_as_ever_and_does_not_sound_by_itself() -> None:
    rig = practising()
    rig.chord(2000, A4, C5, C5 + 4, until_ms=2500)
    assert chords(rig) == ["C", "Am"]
    assert (2000, 500) not in {(n.ms, n.length_ms) for n in rig.notes(10_000)}


def test_a_bass_note_struck_together_with_the_next_chord_is_no_part_of_it() -> None:
    rig = practising()
    rig.press(2000, own_tones(Side.LEFT)[1])
    rig.press(2010, A4, C5, C5 + 4)
    rig.lift(2900, own_tones(Side.LEFT)[1], A4, C5, C5 + 4)
    assert chords(rig) == ["C", "Am"]
    assert rig.heard(10_000)[1].reading.chord.bass == 9


@pytest.mark.parametrize("order", [(0, 20, 40), (40, 20, 0), (20, 0, 40)])
def test_three_keys_within_the_reach_that_are_no_tones_of_the_hand_are_a_chord(
    order: tuple[int, ...],
) -> None:
    rig = practising()
    low = own_tones(Side.LEFT)[0]
    d_minor = (low + 2, low + 5, low + 9)
    for ms, key in zip(order, d_minor, strict=True):
        rig.press(2000 + ms, key)
    rig.lift(2500, *d_minor)
    assert chords(rig)[-1] == "Dm"
    rig.notes(10_000)  # each ends


def test_a_chord_that_begins_within_the_reach_and_ends_beyond_it_is_one() -> None:
    rig = practising()
    top = own_tones(Side.LEFT)[-1]
    f_major = (top - 4, top, top + 5)  # third, fifth and root... of whatever is on top
    rig.press(2000, *f_major[:2])
    rig.press(2020, f_major[2])
    rig.lift(2500, *f_major)
    assert len(chords(rig)) == 2
    assert rig.heard(10_000)[1].reading.keys == f_major


def test_a_slow_run_within_the_reach_is_no_chord() -> None:
    rig = practising()
    low = own_tones(Side.LEFT)[0]
    for number in range(8):
        rig.chord(2000 + 100 * number, low + 1 + number, until_ms=2090 + 100 * number)
    assert chords(rig) == ["C"]


def test_without_a_chord_to_play_to_all_keys_are_chords() -> None:
    rig = practising()
    rig.chord(9500, C3, E3, G3, until_ms=9900)
    assert len(rig.heard(12_000)) == 2


def test_what_is_shown_after_a_stop_leaves_the_last_chords_part_to_the_player() -> None:
    rig = practising()
    rig.events += [Stop(ns_from_ms(2000)), Show(ns_from_ms(2100), (C5,))]
    low = own_tones(Side.LEFT)[0]
    rig.chord(2500, low, until_ms=2900)
    rig.chord(3500, low, low + 7, until_ms=3900)
    assert chords(rig) == ["C"]
    struck = [(n.ms, n.note) for n in rig.notes(10_000) if n.ms > 2000]
    assert struck == [(2100, C5), (2500, low), (3500, low), (3500, low + 7)]


def test_a_single_key_is_a_degree_only_beyond_the_reach() -> None:
    rig = practising(reading=ReadKeys.FROM_KEY)
    rig.chord(2000, own_tones(Side.LEFT)[1], until_ms=2400)
    rig.chord(3000, A4, until_ms=3400)
    assert chords(rig) == ["C", "Am"]


def test_a_hand_that_is_given_back_while_its_keys_are_down_leaves_nothing_sounding() -> None:
    rig = practising()
    low = own_tones(Side.LEFT)[0]
    rig.press(2000, low)
    rig.events.append(SetMuted(ns_from_ms(2200), None))
    rig.lift(2600, low)
    rig.press(3000, low, low + 4, low + 7)
    rig.lift(3500, low, low + 4, low + 7)
    assert len(rig.heard(10_000)) == 2


def test_while_chords_end_with_their_keys_the_own_part_neither_holds_nor_ends_them() -> None:
    rig = Rig("flowing-eighths", muted=Side.LEFT, hold=False)
    high = (A4, C5, C5 + 4)
    low = 45
    rig.chord(0, *high, until_ms=4000)
    rig.chord(1000, low, until_ms=1500)
    rig.press(3500, low)
    rig.lift(6000, low)
    notes = rig.notes(8000)
    theirs = [n for n in notes if n.note != low]
    assert max(n.ms for n in theirs) > 1500 or len(theirs) == 3
    assert max(n.ms + n.length_ms for n in theirs) <= 4000
    assert [(n.ms, n.length_ms) for n in notes if n.note == low] == [(1000, 500), (3500, 2500)]


def struck(at_ms: float, note: int) -> Struck:
    return Struck(ns_from_ms(at_ms), note, 0, note, 64)


def test_a_key_that_comes_twice_stays_the_chords_and_comes_up() -> None:
    twice = Rig("flowing-eighths", muted=Side.RIGHT)
    twice.press(0, C4, E4)
    twice.press(8, G4)
    twice.press(9, G4)
    twice.lift(500, C4, E4, G4)
    twice.events.append(Stop(ns_from_ms(9000)))
    once = Rig("flowing-eighths", muted=Side.RIGHT, hold=False)
    once.events = twice.events
    assert once.performer_at(600).accompaniment.harmony is None, "no key is down any more"
    tones = once.performer_at(400).accompaniment.tones_of_muted
    assert G4 in range(tones[0], tones[-1] + 1), "it is within the hand's reach"
    assert [n for n in twice.notes(10_000) if n.ms == 9] == []


def test_a_key_of_a_chord_within_the_reach_that_comes_twice_is_both_still() -> None:
    rig = practising()
    low = own_tones(Side.LEFT)[0]
    keys = (low - 1, low + 1, low + 3)
    for number, key in enumerate(keys):
        rig.press(2010 + number, key)
    rig.press(2014, keys[-1])
    rig.lift(2500, *keys)
    own = [n.ms for n in rig.notes(10_000) if n.note == keys[-1] and 2010 <= n.ms < 2020]
    assert own == [2012, 2014]
    rig.events.append(SetHold(ns_from_ms(2550), hold=False))
    assert rig.performer_at(2600).accompaniment.harmony is None, "no key is down any more"


def test_keys_are_together_for_80_ms_and_given_out_once() -> None:
    part = OwnPart()
    for ms, note in ((0, C4), (40, D4), (81, F4)):
        part.down(struck(ms, note))
    assert part.take_chord(ns_from_ms(81), C_MAJOR, others=False) == []
    part.down(struck(90, A4))
    chord = part.take_chord(ns_from_ms(90), C_MAJOR, others=False)
    assert [s.note for s in chord] == [D4, F4, A4]
    assert part.take_chord(ns_from_ms(90), C_MAJOR, others=True) == []


def test_a_key_that_is_up_belongs_to_no_chord() -> None:
    part = OwnPart()
    for note in (D4, F4, A3):
        part.down(struck(0, note))
    part.up(F4, 0)
    assert part.take_chord(0, C_MAJOR, others=False) == []
    assert len(part.take_chord(0, C_MAJOR, others=True)) == 2


def test_the_reach_is_two_semitones_wider_than_the_hand() -> None:
    within = [note for note in range(128) if is_within_reach(note, (C4, E4, G4))]
    assert (within[0], within[-1]) == (C4 - 2, G4 + 2)
    assert all(after - before == 1 for before, after in pairwise(within))
    assert not is_within_reach(B3, ())
