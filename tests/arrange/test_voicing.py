"""Voicings: what each hand holds, that hands can hold it, and that it lies nearest."""

from itertools import combinations, pairwise, product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ripieno.arrange.voicing import HandVoicing, Voicing, place, voice
from ripieno.style.model import ALWAYS, Hand, Inversion, Spot, Tone
from ripieno.theory.chord import QUALITIES, Chord
from ripieno.theory.hand import NINTH, OCTAVE, TENTH
from ripieno.theory.leading import distance
from ripieno.theory.pitch import note_named

R, T3, T5, O8 = Tone.ROOT, Tone.THIRD, Tone.FIFTH, Tone.OCTAVE
SIXTH, SEVENTH, NINTH_TONE = Tone.SIXTH, Tone.SEVENTH, Tone.NINTH
ROOT, FIRST, SECOND = Inversion.ROOT, Inversion.FIRST, Inversion.SECOND
NEAREST = Inversion.NEAREST


BY_SUFFIX = {row.suffix: row for row in QUALITIES.values()} | {"1": QUALITIES["1"]}
WINDOW = 9  # semitones that a nearest hand may leave its register: this program's choice
TRIADS = ("", "m", "dim", "aug", "sus2", "sus4")

# The strictest of three public tables of low interval limits (tests/theory/test_hand.py).
LOW_LIMITS = {
    1: 52, 2: 51, 3: 48, 4: 47, 5: 46, 6: 47, 7: 37, 8: 43, 9: 41, 10: 41, 11: 41,
    13: 40, 14: 39, 15: 36, 16: 34,
}  # fmt: skip


def chord(name: str, root: int = 0, bass: int | None = None) -> Chord:
    kind = BY_SUFFIX[name]
    above = (root if bass is None else bass) - root
    outside = () if above % 12 in kind.semitones else (above % 12,)
    return Chord(root, kind, (root + above) % 12, outside)


def hand(*tones: Tone | tuple[Tone, ...], inversion: Inversion = ROOT, around: int = 60) -> Hand:
    places = tuple(tone if isinstance(tone, tuple) else (tone,) for tone in tones)
    return Hand(places, inversion, around)


def names(text: str) -> tuple[int, ...]:
    return tuple(note_named(name) for name in text.split())


def notes(voicing: Voicing) -> tuple[tuple[int, ...], ...]:
    return tuple(one.notes for one in (voicing.left, voicing.right) if one is not None)


extras = st.lists(st.sampled_from((SIXTH, SEVENTH, NINTH_TONE)), max_size=2, unique=True)
places = st.builds(lambda first, last: (*first, last), extras, st.sampled_from(ALWAYS))
hands = st.builds(
    Hand,
    st.lists(places, min_size=1, max_size=5).map(tuple),
    st.sampled_from(Inversion),
    st.integers(21, 108),
)
simple_hands = st.builds(
    Hand,
    st.sampled_from([((R,),), ((R,), (T5,)), ((R,), (T3,), (T5,)), ((R,), (T3,), (T5,), (O8,))]),
    st.sampled_from(Inversion),
    st.integers(40, 84),
)
pitch_classes = st.integers(0, 11)
untimed = settings(deadline=None)


@st.composite
def chords(draw, kinds=tuple(BY_SUFFIX)):
    root, kind = draw(pitch_classes), BY_SUFFIX[draw(st.sampled_from(kinds))]
    bass = draw(st.one_of(st.just(root), pitch_classes))
    free = sorted(set(range(12)) - set(kind.semitones))
    added = set(draw(st.lists(st.sampled_from(free), max_size=2)))
    added |= {(bass - root) % 12} - set(kind.semitones)
    return Chord(root, kind, bass, tuple(sorted(added)))


two_hands = st.tuples(st.none() | hands, st.none() | hands)
spans = st.sampled_from((OCTAVE, NINTH, TENTH))


def assert_playable(voicing: Voicing, span: int) -> None:
    held = notes(voicing)
    for one in held:
        assert 1 <= len(one) <= 5
        assert list(one) == sorted(one)
        assert one[-1] - one[0] <= span
    if len(held) == 2:
        assert held[0][-1] < held[1][0]
    everything = [note for one in held for note in one]
    assert all(21 <= note <= 108 for note in everything)
    for low, high in pairwise(everything):
        assert low >= LOW_LIMITS.get(high - low, 0)


@settings(max_examples=150, deadline=None)
@given(two_hands, chords(), chords(), spans)
def test_two_hands_can_play_any_chord_in_any_shapes(shapes, before, after, span):
    left, right = shapes
    first = voice(left, right, before, None, span)
    then = voice(left, right, after, first, span)
    for voicing in (first, then):
        assert_playable(voicing, span)
        for shape, held in ((left, voicing.left), (right, voicing.right)):
            assert (held is None) == (shape is None)
            if shape is not None and held is not None:
                assert len(held.notes) == len(held.tones) == len(shape.tones)


@untimed
@given(two_hands, chords(), spans)
def test_a_hand_holds_nothing_that_the_chord_has_not(shapes, wanted, span):
    allowed = {*wanted.quality.semitones, *wanted.added}
    sounding = {note for one in notes(voice(*shapes, wanted, None, span)) for note in one}
    assert {(note - wanted.root) % 12 for note in sounding} <= allowed


@untimed
@given(hands, st.none() | hands, chords(), spans)
def test_the_bass_of_a_slash_chord_is_the_lowest_note(left, right, wanted, span):
    assume(wanted.bass != wanted.root)
    held = voice(left, right, wanted, None, span).left
    assert held is not None
    assert held.notes[0] % 12 == wanted.bass


@untimed
@given(st.none() | hands, hands, chords(), spans)
def test_the_third_place_of_the_right_hand_always_has_the_third(left, right, wanted, span):
    third = wanted.quality.above_root(3, 4, 2)
    held = voice(left, right, wanted, None, span).right
    assert held is not None
    assume(third is not None and T3 in held.tones)
    assert (wanted.root + third) % 12 in {n % 12 for n in held.notes}


@untimed
@given(two_hands, chords(), spans, st.integers(1, 11))
def test_transposing_the_chord_transposes_its_tones(shapes, wanted, span, up):
    moved = Chord((wanted.root + up) % 12, wanted.quality, (wanted.bass + up) % 12, wanted.added)
    fixed = [shape for shape in shapes if shape and shape.inversion is not NEAREST]
    assume(len(fixed) == len([shape for shape in shapes if shape]))
    before, after = (voice(*shapes, which, None, span) for which in (wanted, moved))
    for one, other in zip(notes(before), notes(after), strict=True):
        assert {(b - a) % 12 for a, b in zip(one, other, strict=True)} == {up}


@pytest.mark.parametrize(
    ("inversion", "expected"),
    [  # inversions of a triad: any handbook of harmony
        (ROOT, "C4 E4 G4"),
        (FIRST, "E4 G4 C5"),
        (SECOND, "G3 C4 E4"),
    ],
)
def test_a_fixed_inversion_names_the_lowest_tone(inversion, expected):
    right = hand(R, T3, T5, inversion=inversion, around=63)
    assert notes(voice(None, right, chord(""))) == (names(expected),)


@pytest.mark.parametrize(
    ("inversion", "expected", "tones"),
    [
        (ROOT, "C4 E4 G4 C5", (R, T3, T5, O8)),
        (FIRST, "E4 G4 C5 E5", (T3, T5, R, O8)),
        (SECOND, "G3 C4 E4 G4", (T5, R, T3, O8)),
    ],
)
def test_the_octave_doubles_whatever_is_lowest(inversion, expected, tones):
    right = hand(R, T3, T5, O8, inversion=inversion, around=65)
    assert voice(None, right, chord("")).right == HandVoicing(names(expected), tones)


def test_an_inversion_beyond_the_shape_begins_again():
    right = hand(R, T3, T5, inversion=Inversion.THIRD, around=62)
    assert notes(voice(None, right, chord(""))) == (names("C4 E4 G4"),)


def test_a_wide_shape_is_open_where_the_span_allows_and_close_elsewhere():
    right = hand(R, T5, T3, around=64)
    assert notes(voice(None, right, chord(""), span=TENTH)) == (names("C4 G4 E5"),)
    assert notes(voice(None, right, chord(""), span=OCTAVE)) == (names("C4 E4 G4"),)


@pytest.mark.parametrize("octaves", [1, 2])
@pytest.mark.parametrize("root", range(12))
@pytest.mark.parametrize("name", ["", "m"])
@pytest.mark.parametrize("around", [36, 43, 48, 55])
def test_equal_shapes_lie_whole_octaves_apart_even_when_the_left_is_pushed_up(
    around, name, root, octaves
):
    left = hand(R, T3, T5, around=around)
    right = hand(R, T3, T5, around=around + 12 * octaves)
    low, high = notes(voice(left, right, chord(name, root)))
    assert low[0] % 12 == root
    assert high[0] - low[0] in (12, 24)
    assert [b - a for a, b in zip(low, high, strict=True)] == [high[0] - low[0]] * 3


@pytest.mark.parametrize("root", range(12))
def test_a_low_left_hand_is_raised_until_its_intervals_are_clear(root):
    # Major third from B2 up, minor third from C3 up: the strictest of three public tables.
    (low,) = notes(voice(hand(R, T3, T5, around=36), None, chord("", root)))
    assert low[0] >= 47
    assert low[0] - 12 < 47


def test_right_hand_inverted_once_over_a_left_hand_in_root_position():
    left = hand(R, T3, T5, O8, around=54)
    right = hand(R, T3, T5, O8, inversion=FIRST, around=70)
    assert notes(voice(left, right, chord(""))) == (names("C3 E3 G3 C4"), names("E4 G4 C5 E5"))


def test_alternatives_take_the_first_tone_that_the_chord_has():
    right = hand(R, T3, T5, (SEVENTH, SIXTH, O8), around=65)
    held = {name: voice(None, right, chord(name)).right for name in ("7", "6", "")}
    assert held["7"] == HandVoicing(names("C4 E4 G4 Bb4"), (R, T3, T5, SEVENTH))
    assert held["6"] == HandVoicing(names("C4 E4 G4 A4"), (R, T3, T5, SIXTH))
    assert held[""] == HandVoicing(names("C4 E4 G4 C5"), (R, T3, T5, O8))


@pytest.mark.parametrize(
    ("name", "right"),
    [
        # "May omit the fifth; never the third" (quia.com/jg/1780955list.html); with the root
        # in the left hand the right leaves it out for the ninth or thirteenth: common
        # practice, no source.
        ("", "C E G"),
        ("7", "C E Bb"),
        ("maj7", "C E B"),
        ("m7", "C Eb Bb"),
        ("6", "C E A"),
        ("add9", "D E G"),
        ("add11", "E F G"),
        ("9", "D E Bb"),
        ("7b9", "Db E Bb"),
        ("7#9", "D# E Bb"),
        ("6/9", "D E A"),
        ("m11", "Eb F Bb"),
        ("maj7#11", "E F# B"),
        ("13", "E A Bb"),
        ("7sus4", "C F Bb"),
        ("9sus4", "D F Bb"),
        ("m7b5", "Eb Gb Bb"),
        ("dim7", "Eb Gb A"),
        ("7#5", "E G# Bb"),
        ("7b5", "E Gb Bb"),
    ],
)
def test_right_hand_of_three_over_the_root(name, right):
    expected = {note_named(tone + "4") % 12 for tone in right.split()}
    left, upper = hand(R, around=43), hand(R, T3, T5, inversion=NEAREST, around=62)
    low, high = notes(voice(left, upper, chord(name)))
    assert (low[0] % 12, {note % 12 for note in high}) == (0, expected)


def test_the_places_keep_their_names_when_they_take_another_tone():
    left, right = hand(R, around=43), hand(R, T3, T5, inversion=SECOND, around=62)
    voicing = voice(left, right, chord("9"))
    assert voicing.right == HandVoicing(names("Bb3 D4 E4"), (T5, R, T3))


def test_the_fifth_stays_where_there_is_room_for_everything():
    left, right = hand(R, T5, O8, around=43), hand(R, T3, T5, around=64)
    low, high = notes(voice(left, right, chord("7")))
    assert [n % 12 for n in low] == [0, 7, 0]
    assert [n % 12 for n in high] == [0, 4, 10]
    full = hand(R, T3, T5, (SEVENTH, O8), around=64)
    assert [n % 12 for n in notes(voice(None, full, chord("7")))[0]] == [0, 4, 7, 10]


def test_a_single_hand_keeps_its_root_unless_the_fifth_is_altered():
    right = hand(R, T3, T5, around=62)
    held = {name: notes(voice(None, right, chord(name)))[0] for name in ("9", "7b5", "m7b5")}
    assert {n % 12 for n in held["9"]} == {0, 4, 10}
    assert {n % 12 for n in held["7b5"]} == {4, 6, 10}
    assert {n % 12 for n in held["m7b5"]} == {3, 6, 10}


@pytest.mark.parametrize(
    ("left_shape", "right_shape", "name", "left", "right"),
    [
        # Where the usual place is missing: the order in which places give way, our choice.
        ((R, T5), (T3,), "7", (0, 10), (4,)),  # the left hand's fifth
        ((R,), (R, T3), "7", (0,), (4, 10)),  # the right hand's root
        ((T5,), (R, T3, T5), "9", (7,), (0, 4, 10)),  # not the only root
        ((R,), (R, T3), "aug", (0,), (4, 8)),  # an altered fifth finds a place
        ((R,), (T3, T5), "7b5", (0,), (4, 10)),  # and gives it up before the bass
        ((R, T3, T5), (R, T3, T5), "m7b5", (0, 3, 6), (0, 3, 10)),  # or where there are two
    ],
)
def test_other_shapes_give_way_in_the_same_order(left_shape, right_shape, name, left, right):
    voicing = voice(hand(*left_shape, around=52), hand(*right_shape, around=66), chord(name))
    low, high = notes(voicing)
    assert (sorted(n % 12 for n in low), sorted(n % 12 for n in high)) == (list(left), list(right))


def test_a_bass_that_is_the_fifth_does_not_give_way():
    left, right = hand(R, T5, around=48), hand(T3, R, around=66)
    low, high = notes(voice(left, right, chord("7", 0, 7)))
    assert low == names("G3 C4")
    assert {n % 12 for n in high} == {4, 10}


triad_shapes = st.builds(
    hand,
    st.just(R),
    st.just(T3),
    st.just(T5),
    inversion=st.sampled_from(Inversion),
    around=st.integers(40, 80),
)


@untimed
@given(st.none() | simple_hands, triad_shapes, chords(), spans)
def test_third_and_seventh_sound_and_the_altered_fifth_outlasts_the_root(left, right, wanted, span):
    voicing = voice(left, right, wanted, None, span)
    sounding = {(n - wanted.root) % 12 for one in notes(voicing) for n in one}
    third = wanted.quality.above_root(3, 4, 2)
    seventh = wanted.quality.above_root(7, 6)
    fifth = wanted.quality.above_root(5)
    assert {tone for tone in (third, seventh) if tone is not None} <= sounding
    if fifth in (6, 8) and fifth not in sounding:
        assert 0 not in sounding


@pytest.mark.parametrize(("name", "expected"), [("5", "C4 G4 C5 C5"), ("1", "C4 C5 C5 C5")])
def test_places_share_keys_where_the_chord_has_too_few_tones(name, expected):
    (held,) = notes(voice(None, hand(R, T3, T5, O8, around=66), chord(name)))
    assert held == names(expected)


def test_a_place_whose_tone_is_taken_doubles_the_lowest():
    shape = hand(T5, R, (NINTH_TONE, R), around=62)
    assert notes(voice(None, shape, chord(""))) == (names("G3 C4 G4"),)


def test_a_third_place_without_a_third_takes_what_else_the_keys_hold():
    (held,) = notes(voice(None, hand(R, T3, T5, around=62), Chord(0, QUALITIES["5"], 0, (8,))))
    assert {n % 12 for n in held} == {0, 7, 8}


def test_a_power_chord_in_three_places_is_root_fifth_and_octave():
    (held,) = notes(voice(None, hand(R, T3, T5, around=66), chord("5")))
    assert held == names("C4 G4 C5")


@pytest.mark.parametrize(
    ("shape", "name", "bass", "left", "right"),
    [
        ((R, T3, T5), "", 4, "E3 G3 C4", "E4 G4 C5"),  # the shape turned
        ((R, T3, T5), "", 7, "G3 C4 E4", "G4 C5 E5"),
        ((R, T3, T5), "", 2, "D3 G3 C4", "E4 G4 C5"),  # a foreign bass for what is close above
        ((R, T3, T5), "", 5, "F2 C3 E3", "C4 E4 G4"),
        ((R, T5, O8), "", 4, "E3 C4 E4", "G4 C5 E5"),  # a third the shape has not
        ((R, T5, O8), "7", 10, "Bb2 G3 Bb3", "C4 E4 G4"),  # the seventh is not doubled above
        ((R,), "m", 10, "Bb2", "C4 Eb4 G4"),
    ],
)
def test_the_left_hand_turns_to_its_bass_or_takes_it_for_the_root(shape, name, bass, left, right):
    lower, upper = hand(*shape, around=50), hand(R, T3, T5, inversion=NEAREST, around=65)
    voicing = voice(lower, upper, chord(name, 0, bass))
    assert notes(voicing) == (names(left), names(right))


def test_a_left_hand_alone_turns_to_its_bass():
    assert notes(voice(hand(R, T3, T5, around=50), None, chord("", 0, 4))) == (names("E3 G3 C4"),)


def test_a_left_hand_alone_gives_its_fifth_for_a_foreign_bass():
    (held,) = notes(voice(hand(R, T3, T5, around=55), None, chord("", 0, 9)))
    assert held == names("A3 C4 E4")


def test_without_a_left_hand_the_bass_is_left_to_others():
    (held,) = notes(voice(None, hand(R, T3, T5, around=63), chord("", 0, 2)))
    assert held == names("C4 E4 G4")


@pytest.mark.parametrize("root", range(12))
@pytest.mark.parametrize("lower", [(R,), (R, T5), (R, T5, O8)])
def test_a_dominant_seventh_doubles_neither_leading_tone_nor_seventh(lower, root):
    # quia.com/jg/1780955list.html: do not double the leading tone or the chord's seventh.
    left, right = hand(*lower, around=48), hand(R, T3, T5, inversion=NEAREST, around=66)
    sounding = [
        (n - root) % 12 for held in notes(voice(left, right, chord("7", root))) for n in held
    ]
    assert sounding.count(4) == sounding.count(10) == 1


def all_close_positions(tones: set[int], around: int) -> list[tuple[int, ...]]:
    """Every way to hold each pitch class once within an octave and the window."""
    near = [n for n in range(around - 24, around + 25) if 21 <= n <= 108 and n % 12 in tones]
    return [
        held
        for held in combinations(near, len(tones))
        if {n % 12 for n in held} == tones
        and held[-1] - held[0] <= 12
        and abs(held[0] + held[-1] - 2 * around) <= 2 * WINDOW
        and all(a >= LOW_LIMITS.get(b - a, 0) for a, b in pairwise(held))
    ]


def moved(before: tuple[int, ...], after: tuple[int, ...]) -> int:
    return sum(abs(a - b) for a, b in zip(before, after, strict=True))


@pytest.mark.parametrize("name", TRIADS)
@pytest.mark.parametrize("root", range(12))
def test_the_nearest_triad_is_as_near_as_theory_allows(root, name):
    # The least voice leading between the chords wherever they lie; tests/theory/
    # test_leading.py holds that against its published table.
    right = hand(R, T3, T5, inversion=NEAREST, around=64)
    before = voice(None, right, chord(""))
    after = voice(None, right, chord(name, root), before)
    least = distance((0, 4, 7), [(root + above) % 12 for above in BY_SUFFIX[name].semitones])
    assert moved(notes(before)[0], notes(after)[0]) == least


@untimed
@given(st.integers(40, 90), chords(TRIADS), st.lists(chords(TRIADS), min_size=1, max_size=5))
def test_nearest_is_the_brute_force_minimum_for_one_hand(around, first, following):
    right = hand(R, T3, T5, inversion=NEAREST, around=around)
    voicing = voice(None, right, first)
    for wanted in following:
        (before,) = notes(voicing)
        voicing = voice(None, right, wanted, voicing)
        (after,) = notes(voicing)
        tones = {n % 12 for n in after}
        candidates = all_close_positions(tones, around)
        if candidates:
            assert moved(before, after) == min(moved(before, other) for other in candidates)
        assert moved(before, after) >= distance([n % 12 for n in before], tones)


@untimed
@given(
    st.integers(45, 60),
    st.integers(10, 26),
    chords(TRIADS),
    st.lists(chords(TRIADS), min_size=1, max_size=3),
)
def test_nearest_is_the_brute_force_minimum_for_both_hands_together(
    around, apart, first, following
):
    left = hand(R, T3, T5, inversion=NEAREST, around=around)
    right = hand(R, T3, T5, inversion=NEAREST, around=around + apart)
    voicing = voice(left, right, first)
    for wanted in following:
        before = notes(voicing)
        voicing = voice(left, right, wanted, voicing)
        after = notes(voicing)
        lows, highs = (
            all_close_positions({n % 12 for n in held}, middle)
            for held, middle in zip(after, (around, around + apart), strict=True)
        )
        if wanted.bass != wanted.root:
            lows = [held for held in lows if held[0] % 12 == wanted.bass]
        sizes = [
            moved(before[0], low) + moved(before[1], high)
            for low, high in product(lows, highs)
            if low[-1] < high[0] and low[-1] >= LOW_LIMITS.get(high[0] - low[-1], 0)
        ]
        if sizes:
            assert moved(before[0], after[0]) + moved(before[1], after[1]) == min(sizes)


@pytest.mark.parametrize(
    ("progression", "sizes"),
    [  # brute force, made apart from this program: least movement, chord by chord
        ([("", 0), ("", 7), ("m", 9), ("", 5), ("", 0)], [3, 5, 1, 3]),
        ([("", 0), ("m", 9), ("", 5), ("", 7), ("", 0)], [2, 1, 6, 3]),
        ([("", 7), ("", 2), ("m", 4), ("", 0), ("", 7)], [3, 5, 1, 3]),
        ([("", 0), ("", 5), ("", 0), ("", 7)], [3, 3, 3]),
    ],
)
def test_common_progressions_move_as_little_as_they_can(progression, sizes):
    right = hand(R, T3, T5, inversion=NEAREST, around=64)
    voicings = [voice(None, right, chord(*progression[0]))]
    for name, root in progression[1:]:
        voicings.append(voice(None, right, chord(name, root), voicings[-1]))
    held = [notes(voicing)[0] for voicing in voicings]
    assert [moved(a, b) for a, b in pairwise(held)] == sizes


def test_common_tones_stay_where_they_are():
    # music21's neoRiemannian module: from C4 E4 G4, R gives C4 E4 A4 and L gives B3 E4 G4.
    right = hand(R, T3, T5, inversion=NEAREST, around=62)
    c_major = Voicing(None, HandVoicing(names("C4 E4 G4"), (R, T3, T5)))
    assert notes(voice(None, right, chord("m", 9), c_major)) == (names("C4 E4 A4"),)
    assert notes(voice(None, right, chord("m", 4), c_major)) == (names("B3 E4 G4"),)


def test_of_two_equally_near_the_one_that_keeps_more_notes_is_taken():
    # B3 E4 G4 goes in six semitones to B3 C#4 E4 and to C#4 E4 B4; the first keeps B3 and E4.
    right = hand(R, T3, T5, inversion=NEAREST, around=64)
    before = Voicing(None, HandVoicing(names("B3 E4 G4"), (T3, R, T5)))
    assert notes(voice(None, right, chord("m7", 1), before)) == (names("B3 C#4 E4"),)


@untimed
@given(st.integers(45, 84), st.lists(chords(TRIADS), min_size=2, max_size=12))
def test_a_nearest_hand_does_not_drift_away(around, progression):
    right = hand(R, T3, T5, inversion=NEAREST, around=around)
    voicing = None
    for wanted in progression:
        voicing = voice(None, right, wanted, voicing)
        (held,) = notes(voicing)
        if around >= 57:  # below, low intervals may push the hand up
            assert abs(held[0] + held[-1] - 2 * around) <= 2 * WINDOW


@pytest.mark.parametrize(("around", "expected"), [(21, "C3 E3 G3"), (120, "E7 G7 C8")])
def test_a_hand_that_cannot_reach_its_register_comes_as_near_as_it_can(around, expected):
    right = hand(R, T3, T5, inversion=NEAREST, around=around)
    before = voice(None, hand(R, T3, T5, around=64), chord(""))
    assert notes(voice(None, right, chord(""), before)) == (names(expected),)


def test_a_fixed_hand_does_not_make_room_for_a_nearest_one():
    left = hand(R, T3, T5, inversion=NEAREST, around=57)
    before = Voicing(HandVoicing(names("C4 E4 G4"), (R, T3, T5)), None)
    voicing = voice(left, hand(R, T3, T5, around=64), chord(""), before)
    assert notes(voicing) == (names("C3 E3 G3"), names("C4 E4 G4"))


def test_a_hand_with_fewer_notes_than_before_still_finds_its_nearest():
    before = Voicing(None, HandVoicing(names("C4 E4 G4 C5"), (R, T3, T5, O8)))
    right = hand(R, T3, T5, inversion=NEAREST, around=62)
    assert notes(voice(None, right, chord("", 5), before)) == (names("C4 F4 A4"),)


FIVE = HandVoicing(names("C3 G3 C4 E4 G4"), (R, T5, O8, T3, SEVENTH))


@pytest.mark.parametrize(
    ("play", "expected"),
    [
        (Spot.BOTTOM, "C3"),
        (Spot.MIDDLE, "C4"),
        (Spot.TOP, "G4"),
        (Spot.UPPER, "G3 C4 E4 G4"),
        (Spot.ALL, "C3 G3 C4 E4 G4"),
        (1, "C3"),
        (4, "E4"),
        (5, "G4"),
        (Tone.THIRD, "E4"),
        (Tone.OCTAVE, "C4"),
    ],
)
def test_a_figure_names_notes_by_spot_number_or_tone(play, expected):
    assert place(FIVE, play) == names(expected)


def test_a_shared_key_is_named_once():
    shared = HandVoicing(names("C4 G4 C5 C5"), (R, T5, T3, O8))
    assert place(shared, Spot.ALL) == names("C4 G4 C5")
    assert place(shared, Spot.UPPER) == names("G4 C5")
    assert place(shared, Spot.TOP) == place(shared, T3) == place(shared, 4) == names("C5")


@pytest.mark.parametrize(
    ("tone", "alternatives", "expected"),
    [
        (SEVENTH, (SEVENTH, O8), "C5"),
        (SEVENTH, (SEVENTH, SIXTH, O8), "C5"),
        (SIXTH, (SIXTH, T5), "G4"),
        (NINTH_TONE, (NINTH_TONE, O8), "C4"),
    ],
)
def test_a_tone_the_chord_lacks_is_played_by_what_stands_in_for_it(tone, alternatives, expected):
    triad = voice(None, hand(R, T3, alternatives, around=65), chord("")).right
    assert triad is not None
    assert place(triad, tone) == names(expected)


@untimed
@given(hands, chords(), st.sampled_from([*Spot, *Tone, 1, 2, 3, 4, 5]))
def test_whatever_a_figure_names_is_in_the_hand(right, wanted, play):
    held = voice(None, right, wanted).right
    assert held is not None
    found = place(held, play)
    assert len(found) == len(set(found))
    assert set(found) <= set(held.notes)
    assert found or (play is Spot.UPPER and len(held.notes) == 1)
