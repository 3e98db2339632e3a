"""Figures from records made by hand: each instant is chosen, so each value is known."""

from ripieno.engine.loop import Timed
from ripieno.latency.figures import (
    INPUT_SPREAD,
    PASS_THROUGH,
    SCHEDULING,
    SPREAD_FIRST,
    SPREAD_LAST,
    STRIKE_FIRST,
    STRIKE_LAST,
    Sample,
)
from ripieno.latency.stream import Listener
from ripieno.perform.events import KeyDown, Send, SetTempo
from ripieno.perform.message import control, note_off, note_on
from ripieno.perform.performer import Heard
from ripieno.theory.recognize import recognize


def key(at: int, note: int, velocity: int = 80, channel: int = 0) -> Timed:
    return Timed(at + 1, KeyDown(at, note, velocity, channel))


def heard(at: int, *keys: int, strike: int | None = None, amends: bool = False) -> Timed:
    strike_ns = at if strike is None else strike
    return Timed(at + 2, Heard(at, strike_ns, recognize(keys), amends))


def sent(due: int, done: int, note: int, channel: int = 0) -> Timed:
    return Timed(done, Send(due, note_on(channel, note, 70)))


def figures(*record: Timed, split: int | None = None) -> list[Sample]:
    listener = Listener(split=split, spread_velocity=96)
    listener.hear(record)
    listener.close()
    return sorted(listener.samples, key=lambda sample: (sample.at_ns, sample.figure))


def values(found: list[Sample], figure: str) -> list[int]:
    return [sample.value_ns for sample in found if sample.figure == figure]


CHORD = (key(100, 60), key(110, 64), key(130, 67), heard(130, 60, 64, 67))


def test_a_strike_counts_from_its_last_key_to_its_first_and_last_note() -> None:
    record = (
        *CHORD,
        Timed(190, Send(130, note_off(0, 36))),
        sent(130, 200, 48),
        sent(130, 230, 72),
        Timed(240, Send(130, control(0, 64, 127))),
        sent(700, 745, 55),
    )
    found = figures(*record)
    assert values(found, STRIKE_FIRST) == [70]
    assert values(found, STRIKE_LAST) == [100]
    assert values(found, SCHEDULING) == [45], "due at an instant of its own: a step"


def test_the_next_strike_ends_the_one_before() -> None:
    record = [*CHORD, sent(130, 200, 48), sent(130, 210, 52)]
    record += [key(900, 62), key(900, 65), key(905, 69), heard(905, 62, 65, 69), sent(905, 950, 50)]
    found = figures(*record)
    assert values(found, STRIKE_FIRST) == [70, 45]
    assert values(found, STRIKE_LAST) == [80, 45]


def test_a_chord_decided_by_time_counts_from_its_last_key_all_the_same() -> None:
    found = figures(key(100, 60), key(120, 64), heard(500, 60, 64, strike=120), sent(500, 530, 48))
    assert values(found, STRIKE_FIRST) == [410]


def test_chords_marked_as_spread_have_figures_of_their_own() -> None:
    record = [key(0, 60, 96), key(10, 64, 96), key(20, 67, 96), heard(20, 60, 64, 67)]
    found = figures(*record, sent(20, 50, 48), sent(20, 60, 52))
    assert (values(found, SPREAD_FIRST), values(found, SPREAD_LAST)) == ([30], [40])
    assert values(found, STRIKE_FIRST) == []


def test_a_chord_that_nothing_answers_has_no_value_and_is_counted() -> None:
    listener = Listener(split=None, spread_velocity=None)
    listener.hear(CHORD)
    listener.hear([sent(5000, 5010, 48)])
    listener.close()
    assert listener.unanswered == 1
    assert values(listener.samples, STRIKE_FIRST) == []
    assert values(listener.samples, SCHEDULING) == [10]


def test_a_melody_key_counts_to_its_own_note_on_its_own_channel() -> None:
    record = [key(100, 90, channel=3), sent(100, 140, 90, channel=3)]
    assert figures(*record, split=84) == [Sample(PASS_THROUGH, 100, 40)]
    other = [key(100, 90, channel=3), sent(100, 140, 90), sent(100, 150, 91, channel=3)]
    assert figures(*other, split=84) == []


def test_melody_is_no_part_of_a_chords_spread_or_time() -> None:
    record = [*CHORD[:3], key(140, 90), sent(140, 150, 90), CHORD[3], sent(130, 200, 48)]
    found = figures(*record, split=84)
    assert values(found, STRIKE_FIRST) == [70]
    assert values(found, INPUT_SPREAD) == [30]


def test_what_a_change_of_tempo_makes_due_is_no_step_of_the_figure() -> None:
    record = [Timed(101, SetTempo(100, 90.0)), sent(100, 160, 48), sent(400, 420, 50)]
    assert figures(*record) == [Sample(SCHEDULING, 400, 20)]


def test_what_an_amended_reading_makes_due_is_no_step_and_no_other_strike() -> None:
    record = [*CHORD, sent(130, 200, 48), key(180, 70), heard(180, 60, 64, 67, 70, amends=True)]
    found = figures(*record, sent(180, 220, 58))
    assert values(found, STRIKE_FIRST) == [70]
    assert values(found, SCHEDULING) == []
    assert values(found, INPUT_SPREAD) == [80], "the late key belongs to the chord"


def test_the_spread_of_a_chord_leaves_out_what_was_held_from_the_one_before() -> None:
    record = [*CHORD, key(600, 62), key(615, 65), heard(615, 60, 62, 65)]
    assert values(figures(*record), INPUT_SPREAD) == [30, 15]


def test_a_record_cut_anywhere_gives_the_same_figures() -> None:
    record = [*CHORD, sent(130, 200, 48), sent(130, 230, 72), sent(700, 745, 55)]
    whole = figures(*record)
    for cut in range(len(record)):
        listener = Listener(split=None, spread_velocity=96)
        listener.hear(record[:cut])
        listener.hear(record[cut:])
        listener.close()
        assert sorted(listener.samples, key=lambda s: (s.at_ns, s.figure)) == whole
