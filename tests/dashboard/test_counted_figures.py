"""What the engine counts, as the screen says it."""

from statuses import status

from ripieno.dashboard.figures import UNKNOWN, Figure, counters, lateness


def by_name(figures: tuple[Figure, ...]) -> dict[str, str]:
    return {figure.name: figure.value for figure in figures}


def test_what_is_not_known_is_unknown_and_never_nought() -> None:
    for figure in (*lateness({}), *counters({})):
        assert figure.value == UNKNOWN


def test_how_late_it_is_stays_unknown_until_something_was_sent() -> None:
    assert set(by_name(lateness({"sent": 0, "late": 0, "latest_us": 0})).values()) == {UNKNOWN}


def test_lateness_is_in_milliseconds() -> None:
    values = by_name(lateness({"sent": 5, "late": 3, "latest_us": 12_900}))
    assert values["late messages"] == "3"
    assert values["latest message"] == "12.90 ms"
    assert by_name(lateness({"sent": 5, "latest_us": 4}))["latest message"] == "under 0.01 ms"


def test_each_count_of_a_daemon_has_its_value_and_one_sentence() -> None:
    counts = status().counts | {"unheard": 7}
    figures = counters(counts)
    assert by_name(figures)["unheard"] == "7"
    for figure in (*figures, *lateness(counts)):
        assert figure.means.endswith(".")
        assert ". " not in figure.means


def test_a_count_of_a_newer_daemon_is_shown_by_its_name() -> None:
    assert by_name(counters({"sneezes": 2}))["sneezes"] == "2"
