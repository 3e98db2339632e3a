"""Which shipped styles serve which meters, and that their figures fit the bars they are for.

Held and rolled chords serve any meter, and so do broken and beating ones. A dance, a march and a
groove are their meter: elsewhere their first figure runs on, and the player is told.
"""

from fractions import Fraction
from itertools import accumulate

import pytest

from rig import C4, E4, G4, Rig
from ripieno.style.load import load_style
from ripieno.style.model import Begin, Lane, Meter, Style, meter_named
from ripieno.style.shipped import shipped_styles

STYLES = {path.stem: load_style(path) for path in shipped_styles()}
IDS = sorted(STYLES)

COMMONLY_ASKED_FOR = ("2/4", "3/4", "4/4", "6/8", "9/8", "12/8", "5/4", "7/8")
SERVES = {
    **dict.fromkeys(
        (
            "alberti", "bass-alone", "contrary-broken", "flowing-eighths",
            "high-second-inversion", "open-fifths", "parallel-arpeggio", "prelude",
            "pulsing-eighths", "repeated-triplets", "rippling-sixteenths", "rolled",
            "smooth-chords", "steady-quarters", "suspend-fourth", "suspend-second",
            "triplet-broken", "wide-pad",
        ),
        COMMONLY_ASKED_FOR,
    ),
    "ballad-in-six": ("6/8", "9/8", "12/8"),
    "bossa": ("4/4",),
    "charleston": ("3/4", "4/4"),
    "driving-eighths": ("4/4",),
    "folk-picking": ("2/4", "3/4", "4/4"),
    "march": ("2/4", "4/4", "6/8"),
    "off-beats": ("2/4", "4/4"),
    "rocking-six": ("6/8", "9/8", "12/8"),
    "three-three-two": ("2/4", "4/4"),
    "waltz": ("3/4",),
}  # fmt: skip

OVER_TWO_BARS = {("bossa", "4/4"), ("folk-picking", "2/4")}  # so long is their rhythm

# How the beats are grouped, in quarters: common practice, no source.
GROUPS = {
    "5/4": (Fraction(3), Fraction(2)),
    "7/8": (Fraction(1), Fraction(1), Fraction(3, 2)),
}


def lanes_in(style: Style, meter: Meter) -> list[Lane]:
    figure = style.figure_for(meter)
    return [lane for lane in (figure.left, figure.right) if lane is not None]


def beating(style: Style, meter: Meter) -> list[Lane]:
    """The lanes that go round with the bar."""
    return [lane for lane in lanes_in(style, meter) if lane.begins is Begin.BAR]


def named(style: Style) -> list[Meter]:
    return [meter for figure in style.figures for meter in figure.meters]


def weight_at(lanes: list[Lane], place: Fraction) -> int | None:
    """The accents of what is struck at a place in the bar, added up; None if nothing is."""
    steps = []
    for lane in lanes:
        index = place % lane.cycle_quarters / lane.every_quarters
        if index.denominator == 1 and lane.steps[int(index)].plays:
            steps.append(lane.steps[int(index)])
    return sum(step.accent for step in steps) if steps else None


def test_every_shipped_style_has_its_line_in_this_table() -> None:
    assert sorted(SERVES) == IDS


@pytest.mark.parametrize("style", IDS)
def test_a_shipped_style_names_the_meters_that_it_should_serve(style: str) -> None:
    meters = [str(meter) for meter in named(STYLES[style])]
    assert set(SERVES[style]) == set(meters) & set(COMMONLY_ASKED_FOR)


@pytest.mark.parametrize("style", IDS)
def test_the_cycles_of_a_shipped_style_come_round_with_each_bar_it_names(style: str) -> None:
    for meter in named(STYLES[style]):
        for lane in lanes_in(STYLES[style], meter):
            if lane.begins is Begin.STRIKE:
                assert not lane.repeats, "struck once, it has no cycle that could miss the bar"
                continue
            bars = meter.bar_quarters / lane.cycle_quarters
            assert bars.denominator == 1 or (style, str(meter)) in OVER_TWO_BARS, meter


@pytest.mark.parametrize(
    ("style", "meter"), [(style, meter) for style in IDS for meter in SERVES[style]]
)
def test_a_bar_sounds_like_the_bar_before_it_while_a_chord_lasts(style: str, meter: str) -> None:
    bars = 2 if (style, meter) in OVER_TWO_BARS else 1
    rig = Rig(style, meter=meter_named(meter), bpm=60.0)
    rig.press(0, C4, E4, G4)
    round_ms = bars * 1000 * meter_named(meter).beats
    laps: list[list[tuple[int, int]]] = [[], [], []]
    for note in rig.notes(3 * round_ms - 1):
        lap, inside = divmod(round(note.ms), round_ms)
        laps[lap].append((inside, note.note))
    first, second, third = laps
    assert second == third
    assert set(second) <= set(first), "what is held is struck in the first alone"
    assert first[0][0] == 0, "each begins on the downbeat"


def uneven() -> list[tuple[str, str]]:
    """The styles with a cycle in an uneven meter that they serve."""
    return [
        (style, meter)
        for meter in GROUPS
        for style in IDS
        if meter in SERVES[style] and beating(STYLES[style], meter_named(meter))
    ]


@pytest.mark.parametrize(("style", "meter"), uneven())
def test_accents_mark_the_groups_of_an_uneven_meter(style: str, meter: str) -> None:
    lanes = beating(STYLES[style], meter_named(meter))
    starts = list(accumulate(GROUPS[meter][:-1], initial=Fraction(0)))
    every = min(lane.every_quarters for lane in lanes)
    places = [every * i for i in range(int(meter_named(meter).bar_quarters / every))]
    weights = {place: weight_at(lanes, place) for place in places}
    inside = [w for place, w in weights.items() if place not in starts and w is not None]
    marked = [weights[start] for start in starts]
    assert None not in marked
    assert min(w for w in marked if w is not None) > max(inside, default=0)
    assert marked[0] == max(w for w in marked if w is not None), "the bar's own beat is the first"


def test_a_figure_for_seven_eight_counts_its_bar_in_eighths() -> None:
    seven = meter_named("7/8")
    assert (seven.beats, seven.beat_quarters) == (7, Fraction(1, 2))
    assert sum(GROUPS["7/8"]) == seven.bar_quarters
    assert sum(GROUPS["5/4"]) == meter_named("5/4").bar_quarters
