"""What is played: seeded, mixed, out of step, and such that answers can be told apart."""

from collections import Counter
from itertools import pairwise

from ripieno.latency.plan import SPLIT, SPREAD_NS, SPREAD_VELOCITY, Kind, Plan, Probe, round_ns
from ripieno.perform.message import NOTE_OFF, NOTE_ON, is_legal
from ripieno.units import NS_PER_MS, NS_PER_S

SETTLE = 12 * NS_PER_MS


def strikes(seed: int = 1, rounds: int = 50) -> list[Probe]:
    return list(Plan(seed, SETTLE).strikes(rounds))


def keys(probe: Probe, status: int = NOTE_ON) -> list[int]:
    return [data[1] for _, data in probe.messages if data[0] & 0xF0 == status]


def test_the_same_seed_plays_the_same_and_another_does_not() -> None:
    assert strikes(seed=5) == strikes(seed=5)
    assert strikes(seed=5) != strikes(seed=6)


def test_every_kind_comes_as_often_and_in_no_fixed_order() -> None:
    kinds = [probe.kind for probe in strikes()]
    assert Counter(kinds) == dict.fromkeys(Kind, 50)
    assert len({tuple(kinds[n : n + 4]) for n in range(0, 200, 4)}) > 10


def test_a_probe_waits_until_the_answer_before_has_come_and_by_chance_longer() -> None:
    gaps = [probe.gap_ns for probe in strikes()]
    assert min(gaps) >= SETTLE
    assert max(gaps) - min(gaps) > 20 * NS_PER_MS, "more than most audio periods"


def test_chords_are_triads_below_the_split_that_share_no_key_with_the_one_before() -> None:
    chords = [probe for probe in strikes() if probe.kind in (Kind.TOGETHER, Kind.SPREAD)]
    assert all(len(keys(c)) == 3 and max(keys(c)) < SPLIT for c in chords)
    assert not any(set(keys(a)) & set(keys(b)) for a, b in pairwise(chords))
    assert all(sorted(keys(c, NOTE_OFF)) == sorted(keys(c)) for c in chords), "all come up again"


def test_a_chord_is_timed_from_its_last_key() -> None:
    for probe in strikes():
        if probe.kind is Kind.SPREAD:
            after_ns, data = probe.messages[probe.measured]
            assert (after_ns, data[2]) == (2 * SPREAD_NS, SPREAD_VELOCITY)
        if probe.kind is Kind.TOGETHER:
            assert [at for at, data in probe.messages if data[0] == NOTE_ON] == [0, 0, 0]


def test_a_round_is_as_long_as_it_says() -> None:
    length_ns = sum(probe.gap_ns + probe.messages[-1][0] for probe in strikes(rounds=200))
    assert abs(length_ns / 200 / round_ns(SETTLE) - 1) < 0.05


def test_messages_that_come_back_as_sent_differ_for_longer_than_the_time_out() -> None:
    sent = [p.messages[0][1] for p in strikes(rounds=100) if p.kind in (Kind.MELODY, Kind.BARE)]
    assert all(map(is_legal, sent))
    assert all(len(set(sent[n : n + 60])) == 60 for n in range(len(sent) - 60))


def test_beside_a_figure_chords_come_now_and_then_for_as_long_as_was_asked() -> None:
    probes = list(Plan(1, SETTLE).beside_a_figure(10 * NS_PER_S))
    length_ns = sum(probe.gap_ns + probe.messages[-1][0] for probe in probes)
    assert 10 * NS_PER_S <= length_ns < 11 * NS_PER_S
    kinds = Counter(probe.kind for probe in probes)
    assert probes[0].kind is Kind.TOGETHER, "it starts the figure"
    assert 5 <= kinds[Kind.TOGETHER] <= 8
    assert min(kinds[Kind.MELODY], kinds[Kind.BARE]) > 20
