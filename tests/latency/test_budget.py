import pytest

from ripieno.errors import UsageError
from ripieno.latency.budget import judge, read_budget
from ripieno.latency.distribution import STATISTICS, Summary
from ripieno.latency.figures import BARE, FIGURES_OF, PATHS, STRIKE_FIRST

MIDI = FIGURES_OF["midi"]


def figure(name: str, lost: int = 0, late: int = 0, **values: int | None) -> Summary:
    known: dict[str, int | None] = dict.fromkeys(STATISTICS)
    return Summary(name, 50, lost, late, known | values)


def met(text: str, *found: Summary) -> list[bool]:
    summaries = {summary.figure: summary for summary in found}
    return [j.met for j in judge(read_budget(text, "here", MIDI), summaries)]


@pytest.mark.parametrize(
    ("limit", "is_met"),
    [
        ("320 us", True),
        ("300 us", True),  # at most
        ("299.9 us", False),
        ("0.3 ms", True),
        ("299999 ns", False),
        ("1 s", True),
        ("0 us", False),
        ("3 x bare-path", True),
        ("2.99 x bare-path", False),
    ],
)
def test_a_demand_is_met_by_what_is_not_above_its_limit(limit: str, is_met: bool) -> None:
    strike, bare = figure(STRIKE_FIRST, p99=300_000), figure(BARE, p99=100_000)
    assert met(f"strike-to-first-note p99 <= {limit}", strike, bare) == [is_met]


def test_counts_have_demands_without_a_unit() -> None:
    found = figure(STRIKE_FIRST, lost=1, late=0)
    assert met("strike-to-first-note lost <= 0; strike-to-first-note late<=0", found) == [
        False,
        True,
    ]


def test_what_is_not_known_does_not_meet_a_demand_and_it_says_what_it_takes() -> None:
    demands = read_budget("strike-to-first-note p99.9 <= 10 s", "here", MIDI)
    (judgement,) = judge(demands, {STRIKE_FIRST: figure(STRIKE_FIRST)})
    assert not judgement.met
    assert judgement.found == "unknown: 50 values of strike-to-first-note, it takes 1000"


def test_a_multiple_of_an_unknown_bare_path_is_not_met() -> None:
    strike, bare = figure(STRIKE_FIRST, p99=1), figure(BARE)
    assert met("strike-to-first-note p99 <= 9 x bare-path", strike, bare) == [False]


def test_several_stand_on_lines_or_between_semicolons_with_remarks_and_blank_lines() -> None:
    text = "# mine\n\npass-through p50 <= 1 ms; bare-path max <= 2 ms # now\nbare-path p90 <= 9 us;"
    assert [(d.figure, d.statistic) for d in read_budget(text, "here", MIDI)] == [
        ("pass-through", "p50"), ("bare-path", "max"), ("bare-path", "p90"),
    ]  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_every_figure_of_a_path_can_have_a_demand(path: str) -> None:
    text = "\n".join(f"{name} max <= 1 ms" for name in FIGURES_OF[path])
    assert len(read_budget(text, "here", FIGURES_OF[path])) == len(FIGURES_OF[path])


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "here: no demand in it; write FIGURE STATISTIC <= LIMIT"),
        ("# nothing", "here: no demand in it"),
        ("fast please", "here:1: 'fast please' is no demand; write FIGURE STATISTIC <= LIMIT"),
        ("\nbare-path p50 < 1 us", "here:2: 'bare-path p50 < 1 us' is no demand"),
        ("bare-path p50 <= -1 us", "is no demand"),
        (
            "bare p50 <= 1 us",
            "'bare' is not measured on this path, which has strike-to-first-note,",
        ),
        (
            "bare-path p98 <= 1 us",
            "'p98' is no statistic; there are p50, p90, p99, p99.9, max, lost",
        ),
        (
            "bare-path p50 <= 1",
            "'' is no unit of a limit; there are ns, us, ms, s and 'x bare-path'",
        ),
        ("bare-path p50 <= 1 min", "'min' is no unit"),
        ("bare-path lost <= 1 us", "'lost' is a count: write a number alone, not 'us'"),
    ],
)
def test_a_fault_says_its_line_and_what_was_expected(text: str, fault: str) -> None:
    with pytest.raises(UsageError) as refusal:
        read_budget(text, "here", MIDI)
    assert fault in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_path_without_a_bare_path_has_no_multiples_of_it() -> None:
    with pytest.raises(UsageError, match="no unit"):
        read_budget("input-spread p50 <= 2 x bare-path", "here", FIGURES_OF["keyboard"])
