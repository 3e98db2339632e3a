"""The bar as movement."""

import pytest

from ripieno.dashboard.beat import Row, beat_rows


def text(row: Row) -> str:
    return "".join(piece for piece, _ in row)


def shown(*asked: object) -> list[str]:
    return [text(row) for row in beat_rows(*asked)]


def now(row: Row) -> list[str]:
    return [piece.strip() for piece, stands_out in row if stands_out]


def ball(rows: list[str]) -> tuple[int, int]:
    """Its column, and its height in half rows."""
    for up, row in enumerate(reversed(rows[:-1])):
        for shape, half in (("▄", 0), ("▀", 1)):
            if shape in row:
                return row.index(shape), 2 * up + half
    raise AssertionError


def test_the_line_is_thick_as_far_as_the_bar_has_gone() -> None:
    assert shown(0.5, 4, 40, 1) == ["1━━━━━━━━━2━━━━━━━━━ 3 ───────4─────────"]
    assert shown(0.0, 4, 40, 1) == [" 1 ───────2─────────3─────────4─────────"]
    assert shown(None, 4, 40, 1) == ["1─────────2─────────3─────────4─────────"]


@pytest.mark.parametrize("beats", [1, 2, 3, 4, 5, 12])
def test_the_beat_that_is_now_stands_out_alone(beats: int) -> None:
    for beat in range(beats):
        assert now(beat_rows((beat + 0.5) / beats, beats, 60, 3)[-1]) == [str(beat + 1)]
    assert now(beat_rows(None, beats, 60, 3)[-1]) == []


@pytest.mark.parametrize("beats", [1, 3, 4])
def test_the_ball_lands_on_each_beat_and_rises_between(beats: int) -> None:
    for beat in range(beats):
        assert ball(shown(beat / beats, beats, 80, 5))[1] == 0
        assert ball(shown((beat + 0.5) / beats, beats, 80, 5))[1] > 2


def test_the_ball_is_highest_before_the_next_bar() -> None:
    heights = [ball(shown((beat + 0.5) / 4, 4, 80, 5))[1] for beat in range(4)]
    assert max(heights[:3]) < heights[3]


def test_the_ball_goes_from_left_to_right() -> None:
    columns = [ball(shown(step / 50, 4, 80, 3))[0] for step in range(50)]
    assert columns == sorted(set(columns))


@pytest.mark.parametrize("width", [0, 1, 2, 5, 33, 200])
@pytest.mark.parametrize("rows", [1, 2, 6])
@pytest.mark.parametrize("share", [None, 0.0, 0.51, 0.999])
def test_every_row_fills_the_room_and_no_more(width: int, rows: int, share: float | None) -> None:
    for beats in (1, 4, 7):
        drawn = shown(share, beats, width, rows)
        assert len(drawn) == rows
        assert {len(row) for row in drawn} == {width}
