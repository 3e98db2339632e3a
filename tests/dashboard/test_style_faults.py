"""A fault shown at its place in the file."""

import pytest

from ripieno.dashboard.faults import place_of, shown_there

TEXT = "name: Mine\nsuits: [gig]\nfigures:\n  - every: 1/7\n"
FAULT = "/a b/mine.yaml:4:12: 'every: 1/7' does not divide the bar"


def test_a_fault_says_where_it_is() -> None:
    place = place_of(FAULT)
    assert place is not None
    assert (place.file, place.line, place.column) == ("/a b/mine.yaml", 4, 12)
    assert place.why == "'every: 1/7' does not divide the bar"


def test_a_fault_of_a_windows_file_says_where_it_is() -> None:
    place = place_of(r"C:\styles\mine.yaml:4:12: no")
    assert place is not None
    assert (place.file, place.line) == (r"C:\styles\mine.yaml", 4)


def test_the_mark_stands_below_the_letter_that_is_wrong() -> None:
    fault, line, mark = shown_there(FAULT, TEXT, 80)
    assert fault == FAULT
    assert line == "4 |   - every: 1/7"
    assert line[mark.index("^")] == "1"


@pytest.mark.parametrize("column", [1, 50, 151, 300, 9999])
def test_the_mark_stands_below_it_in_a_line_longer_than_the_screen(column: int) -> None:
    text = "".join(chr(ord("a") + i % 26) for i in range(300))
    _, line, mark = shown_there(f"f:1:{column}: no", text, 40)
    assert len(line) <= 40
    at = mark.index("^")
    assert (line + "|")[at] == (text + "|")[min(column, 301) - 1]


@pytest.mark.parametrize(
    ("fault", "text"),
    [
        ("mine.yaml: no such file", TEXT),
        (FAULT, None),
        ("f:99:1: the line is gone", TEXT),
        ("f:0:1: there is no such line", TEXT),
    ],
)
def test_without_its_place_a_fault_stands_alone(fault: str, text: str | None) -> None:
    assert shown_there(fault, text, 80) == [fault]
