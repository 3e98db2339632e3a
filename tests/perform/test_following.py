"""The tempo follows hands: tables of what is a beat, fuzzed strikes, and simulated players."""

from functools import cache
from itertools import accumulate, pairwise
from random import Random
from statistics import median

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from following import Errors, Judge, Playing, errors_of, found
from ripieno.perform.bending import most_change
from ripieno.perform.following import HandsFollower
from ripieno.units import NS_PER_MINUTE, NS_PER_MS, NS_PER_S
from simulated_players import FAR_OFF, PLAYERS, Player, accelerando_and_ritardando

HALF_S = NS_PER_S // 2


def follower(lean: int = 100, beat_ns: float = HALF_S, at_ns: int = 0) -> HandsFollower:
    return HandsFollower(at_ns, 0, beat_ns, lean, beats_per_bar=4)


def struck(hands: HandsFollower, *beats: float, beat_ns: float = HALF_S) -> list[bool]:
    """Strikes exactly on places of an even tempo; which were taken for beats."""
    return [hands.strike(round(beat * beat_ns)) for beat in beats]


@pytest.mark.parametrize("told", [0.92, 0.97, 1.0, 1.05, 1.1])
@pytest.mark.parametrize("every", [1, 2, 4])
def test_an_even_player_is_soon_foreseen(told: float, every: int) -> None:
    hands = follower(beat_ns=HALF_S * told)
    taken = struck(hands, *range(every, 16 + every, every))
    assert all(taken)
    assert hands.course.beat_ns == pytest.approx(HALF_S, rel=0.01)
    assert hands.predicted_ns(16 + 2 * every) == pytest.approx((16 + 2 * every) * HALF_S, abs=15e6)


@pytest.mark.parametrize("bpm", [60, 66, 76, 112, 120, 135])
def test_who_begins_far_from_the_tempo_told_is_found_within_six_beats(bpm: float) -> None:
    luck, beat_ns = Random(5), NS_PER_MINUTE / bpm
    hands = follower(beat_ns=NS_PER_MINUTE / 92)
    for beat in range(1, 13):
        if beat > 6:
            assert hands.course.beat_ns == pytest.approx(beat_ns, rel=0.06)
        hands.strike(round(beat * beat_ns + luck.gauss(0, 10) * NS_PER_MS))


@pytest.mark.parametrize("lean", [25, 50, 100])
def test_a_strike_between_beats_is_no_beat(lean: int) -> None:
    hands = follower(lean)
    struck(hands, *range(1, 9))
    # A push, chords in passing on other parts of the beat, and beats among them.
    taken = struck(hands, 9, 9.5, 11, 11.33, 12, 12.67, 13, 15.5, 17)
    assert taken == [True, False, True, False, True, False, True, False, True]
    assert hands.course.position_beats == 17
    assert hands.predicted_ns(18) == pytest.approx(18 * HALF_S, abs=10e6)


def test_in_thirds_of_a_beat_chords_in_passing_hold_the_tempo() -> None:
    hands = HandsFollower(0, 0, HALF_S, 100, beats_per_bar=2, parts=3)
    struck(hands, 1, 2, 3, 4)
    assert struck(hands, 4 + 1 / 3, 4 + 2 / 3, 5, 5 + 2 / 3, 6) == [False, False, True, False, True]
    assert hands.predicted_ns(7) == pytest.approx(7 * HALF_S, abs=10e6)


@pytest.mark.parametrize(("beats", "held"), [(1, 0.3), (1, 0.5), (1, 0.6), (2, 0.3), (2, 0.6)])
def test_beats_that_are_held_at_the_end_of_a_phrase_keep_their_numbers(
    beats: int, held: float
) -> None:
    # Not two by a half, nor one by a whole beat: that may as well be a beat left out.
    hands, at = follower(), 0.0
    for beat in range(1, 30):
        at += 1 + (held if 16 < beat <= 16 + beats else 0)
        struck(hands, at)
        if beat > 22:
            assert hands.course.position_beats == beat
            assert hands.course.beat_ns == pytest.approx(HALF_S, rel=0.03)
            due_ns = hands.predicted_ns(beat + 1)
            assert due_ns == pytest.approx((at + 1) * HALF_S, abs=0.05 * HALF_S)


def test_missed_beats_keep_their_numbers() -> None:
    hands = follower()
    struck(hands, 1, 2, 3, 4, 7, 8, 12, 13)
    assert hands.course.position_beats == 13


def test_the_tempo_goes_on_while_the_hand_rests() -> None:
    hands = follower()
    struck(hands, *range(1, 9))
    before = hands.course
    assert hands.predicted_ns(40) == pytest.approx(40 * HALF_S, abs=40e6)
    assert hands.course == before
    assert struck(hands, 40, 41) == [True, True]
    assert hands.course.position_beats == 41


def test_it_begins_anywhere_in_a_running_time() -> None:
    hands = HandsFollower(7 * NS_PER_S, 30.25, HALF_S, 100, beats_per_bar=3)
    # Three quarters of a beat later it is beat 31.
    assert hands.strike(7 * NS_PER_S + 375 * NS_PER_MS)
    assert hands.course.position_beats == 31


def test_each_beat_is_foreseen_as_long_as_it_always_is_and_the_pieces_join() -> None:
    hands, at_ns = follower(), 0
    for bar in range(12):
        for part in (0.9, 1.2, 0.95, 0.95):
            at_ns += round(part * HALF_S)
            hands.strike(at_ns + (bar % 2) * NS_PER_MS)
    now_ns, lengths = at_ns + 1, []
    for beat in range(48, 52):
        course, turns_ns = hands.course_at(now_ns)
        assert turns_ns is not None
        lengths.append(course.beat_ns / HALF_S)
        assert course.position(turns_ns) == pytest.approx(beat + 1, abs=1e-6)
        assert hands.predicted_ns(beat + 1) == pytest.approx(turns_ns, abs=2)
        now_ns = turns_ns
    assert lengths == pytest.approx([0.9, 1.2, 0.95, 0.95], abs=0.05)


def test_after_eight_beats_without_a_strike_what_is_foreseen_is_even() -> None:
    hands = follower()
    struck(hands, *range(1, 9))
    course, turns_ns = hands.course_at(18 * HALF_S)
    assert turns_ns is None
    assert hands.predicted_ns(1000) == pytest.approx(course.due_ns(1000), abs=2)


@pytest.mark.parametrize("first", [8.5, 12.5])
def test_hands_that_play_off_the_beat_for_good_become_the_beat(first: float) -> None:
    """As after a pause that the player did not count: the beat is where the hands are."""
    hands = follower()
    struck(hands, *range(1, 9))
    taken = struck(hands, *(first + beat for beat in range(12)))
    assert not any(taken[:3])
    assert all(taken[6:])


@pytest.mark.parametrize(
    ("lean", "least", "most"), [(0, -0.01, 0.01), (25, 0.1, 0.21), (100, 0.19, 0.21)]
)
def test_a_player_a_fifth_faster_is_followed_as_much_as_it_leans(
    lean: int, least: float, most: float
) -> None:
    hands = follower(lean)
    lengths = [HALF_S] * 8 + [HALF_S / (1 + 0.2 * step / 8) for step in range(1, 9)]
    for at_ns in accumulate([*lengths, *[HALF_S / 1.2] * 8]):
        hands.strike(round(at_ns))
    assert least <= HALF_S / hands.course.beat_ns - 1 <= most


def test_the_tempo_stays_within_twice_and_half_of_that_it_began_with() -> None:
    hands = follower()
    lengths = [HALF_S * max(0.2, 0.97**beat) for beat in range(200)]
    for at_ns in accumulate([*lengths, *reversed(lengths), *[HALF_S * 4] * 50]):
        hands.strike(round(at_ns))
        assert HALF_S / 2 <= hands.course.beat_ns <= HALF_S * 2


@pytest.mark.parametrize(("told_bpm", "kept_bpm"), [(5, 20), (4000, 400)])
def test_a_tempo_that_cannot_be_is_brought_within_bounds(told_bpm: int, kept_bpm: int) -> None:
    assert follower(beat_ns=NS_PER_MINUTE / told_bpm).course.beat_ns == NS_PER_MINUTE / kept_bpm


gaps = st.one_of(
    st.integers(0, 3 * NS_PER_S),
    st.integers(0, 600 * NS_PER_S),
    st.sampled_from([HALF_S, HALF_S // 2, HALF_S * 2, 0]),
)
leans = st.integers(0, 100)


@settings(deadline=None)
@given(strikes=st.lists(st.tuples(gaps, leans), max_size=40), bpm=st.floats(20, 400))
def test_whatever_is_struck_nothing_jumps_and_every_tempo_can_be_played(
    strikes: list[tuple[int, int]], bpm: float
) -> None:
    beat_ns = NS_PER_MINUTE / bpm
    hands = HandsFollower(0, 0, beat_ns, 100, 4)
    playing = Playing.following(hands, 100, bpm)
    at_ns = 0
    for gap_ns, lean in strikes:
        at_ns += gap_ns
        playing.advance(at_ns)
        hands.lean = playing.lean = lean
        playing.strike(at_ns)
        assert beat_ns / 2 * 0.999 <= hands.course.beat_ns <= beat_ns * 2.001
    for before, after in pairwise(playing.heard):
        assert after.position_beats == before.position(after.at_ns)
        assert after.position_beats >= before.position_beats
        assert 149 * NS_PER_MS < after.beat_ns < 3001 * NS_PER_MS
        change = max(after.beat_ns / before.beat_ns, before.beat_ns / after.beat_ns)
        assert change <= 1 + most_change(100) + 1e-9


@settings(deadline=None, max_examples=30)
@given(
    strikes=st.lists(gaps, max_size=20),
    later_ns=st.integers(0, 2**50),
)
def test_the_same_strikes_are_followed_in_the_same_way_at_any_time(
    strikes: list[int], later_ns: int
) -> None:
    early, late = follower(70), follower(70, at_ns=later_ns)
    for at_ns in accumulate(strikes):
        assert early.strike(at_ns) == late.strike(at_ns + later_ns)
        assert early.course.at_ns + later_ns == late.course.at_ns
        assert early.course.beat_ns == late.course.beat_ns


@cache
def errors(name: str) -> Errors:
    (player,) = (player for player in PLAYERS if player.name == name)
    return errors_of(player, range(6))


@pytest.mark.parametrize(
    "name", ["steady, every beat", "steady, every other beat", "unsteady hand", "hand that rests"]
)
def test_a_song_is_foreseen_better_by_a_third_than_by_either_plain_predictor(name: str) -> None:
    found = errors(name)
    assert median(found.follower) < 2 / 3 * median(found.last_interval)
    assert median(found.follower) < 2 / 3 * median(found.constant)


@pytest.mark.parametrize("name", ["steady, every beat", "hand that rests"])
def test_what_a_steady_player_means_is_foreseen_within_three_per_cent(name: str) -> None:
    assert median(errors(name).meant) < 0.03


def test_pushes_and_chords_in_passing_renumber_no_beat_and_hardly_lose_one() -> None:
    found = errors("song with pushes")
    assert sum(lost > 2 for lost in found.longest_lost) <= 1
    assert max(found.longest_lost) <= 4
    assert found.slips == 0
    assert median(found.follower) < 0.75 * median(found.last_interval)


def test_an_accelerando_is_followed_without_losing_a_beat() -> None:
    found = errors("accelerando and ritardando")
    assert max(found.longest_lost) <= 2
    assert found.slips <= 1
    assert median(found.follower) < 0.045
    assert median(found.follower) < 0.75 * median(found.last_interval)


def test_a_free_tempo_is_followed_and_found_again_within_four_beats() -> None:
    found = errors("free")
    assert max(found.longest_lost) <= 4
    assert found.slips <= 1
    assert median(found.follower) < 0.06
    assert median(found.follower) < median(found.last_interval)


@pytest.mark.parametrize(("name", "ratio"), [("lilting", 0.6), ("strophes", 0.75)])
def test_what_comes_round_in_the_bar_or_the_phrase_is_foreseen(name: str, ratio: float) -> None:
    found = errors(name)
    assert median(found.follower) < ratio * median(found.last_interval)


def test_a_tempo_that_would_be_unusual_is_no_way_to_tell_the_strikes() -> None:
    """Without regard to the usual tempo one beat in eight changes its number here."""
    found = errors("the same, mixed")
    assert found.slips < 0.03 * len(found.follower)
    assert median(found.follower) < 0.9 * median(found.last_interval)


def test_what_is_played_keeps_up_with_an_accelerando() -> None:
    player = Player("quick", accelerando_and_ritardando, missed=0.0, extra=0.0)
    found = [Judge(player.play(seed), 100).run() for seed in range(4)]
    played = [error for run in found for error in run.played]
    assert median(played) < 0.06
    assert max(played) < 0.35


@pytest.mark.parametrize("lean", [75, 100])
@pytest.mark.parametrize("player", FAR_OFF[:14], ids=lambda player: player.name)
def test_who_plays_on_the_same_beats_far_from_the_tempo_told_is_found_within_eight_bars(
    player: Player, lean: int
) -> None:
    runs = [found(player.play(seed), 8, lean) for seed in range(5)]
    assert sum(run.tempo and run.bar_line for run in runs) >= 4


def test_a_simulated_player_plays_the_same_again() -> None:
    assert PLAYERS[0].play(3) == PLAYERS[0].play(3)
    assert PLAYERS[0].play(3) != PLAYERS[0].play(4)
