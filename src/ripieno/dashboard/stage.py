"""The stage view: the chord now, as large as it can be, its place in the key, and the beat."""

import re
from collections.abc import Sequence
from itertools import pairwise, zip_longest

from rich.segment import Segment
from rich.style import Style
from textual.app import ComposeResult
from textual.containers import Container
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Static

from ripieno.dashboard import letters, words
from ripieno.dashboard.beat import Row, beat_rows
from ripieno.wire.status import Status
from ripieno.wire.time_in_words import under_way

_BIG_ROWS, _BIG_COLUMNS = 30, 100  # from here on there is room for large facts as well
# Cells that are filled by their background have no gaps between lines, which many fonts leave.
_FULL, _FILLED = "█", Style(reverse=True)
_RUNS = re.compile(f"{_FULL}+|[^{_FULL}]+")
_FACT_ROWS = letters.cells_high(1) + 1


class StageView(Container):
    """What is read at a glance while both hands are busy."""

    def compose(self) -> ComposeResult:
        yield Static(id="style", markup=False)
        yield Static(id="time", markup=False)
        yield Letters(id="chord")
        yield Letters(id="degree", most=1)
        yield Beats(id="beats")
        yield Facts(id="facts")

    def on_resize(self) -> None:
        """The chord gets what the others leave."""
        columns, rows = self.content_size
        big = rows >= _BIG_ROWS and columns >= _BIG_COLUMNS
        self.query_one("#degree").styles.height = letters.cells_high(1) + 1 if big else 1
        self.query_one("#beats").styles.height = 6 if big else 3 if rows > 21 else 2
        self.query_one("#facts").styles.height = _FACT_ROWS + 1 if big else 1

    def show(self, now: Status) -> None:
        """The status as it is now; only what differs is drawn."""
        self._say("#style", words.style_line(now))
        self._say("#time", words.time_line(now))
        self.query_one("#time").set_class(bool(under_way(now)), "under-way")
        self.query_one("#chord", Letters).say(now.chord or "", words.if_no_chord(now))
        self.query_one("#degree", Letters).say(words.degree(now), words.if_no_degree(now))
        beats = words.beats_in(now.meter)
        self.query_one("#beats", Beats).say(words.share_of_bar(now), beats)
        self.query_one("#facts", Facts).say(words.facts(now))

    def lost(self, why: str) -> None:
        """What was known last stays, for the app greys it; but nothing moves any more."""
        self.query_one("#beats", Beats).stop()
        self.query_one("#chord", Letters).instead(words.why_lost(why))

    def _say(self, name: str, line: str) -> None:
        label = self.query_one(name, Static)
        if label.content != line:
            label.update(line)


class _Drawn(Widget):
    """Rows of cells that are made anew only when what they say, or the room, has changed."""

    STANDS_OUT = Style(bold=True)

    def __init__(self, *, id: str) -> None:  # noqa: A002 - the name that Textual has
        super().__init__(id=id)
        self._rows: Sequence[Row] = ()
        self._looks = (Style(), Style())
        self._drawn_for: tuple[object, ...] = ()

    def rows_for(self, width: int, height: int) -> Sequence[Row]:
        """What is to be seen, from the top."""
        raise NotImplementedError

    def said(self) -> object:
        """What `rows_for` depends on besides the room."""
        raise NotImplementedError

    def redraw(self) -> None:
        """To be called when `said` may differ."""
        width, height = self.content_size
        drawn_for = (self.said(), width, height)
        if drawn_for != self._drawn_for:
            self._drawn_for = drawn_for
            rows = self.rows_for(width, height)
            before, self._rows = self._rows, rows
            pairs = enumerate(zip_longest(before, rows))
            changed = [Region(0, y, width, 1) for y, (old, new) in pairs if old != new]
            if changed:
                self.refresh(*changed)

    def on_resize(self) -> None:
        self.redraw()

    def render_lines(self, crop: Region) -> list[Strip]:
        """Textual works out a style from all widgets above: once a frame is enough."""
        plain = self.rich_style
        self._looks = (plain, plain + self.STANDS_OUT)
        return super().render_lines(crop)

    def render_line(self, y: int) -> Strip:
        row = self._rows[y] if y < len(self._rows) else []
        pieces = [
            Segment(" " * len(run), self._looks[strong] + _FILLED)
            if run[0] == _FULL
            else Segment(run, self._looks[strong])
            for text, strong in row
            for run in _RUNS.findall(text)
        ]
        return Strip(pieces).adjust_cell_length(self.size.width, self._looks[0])


class Letters(_Drawn):
    """A text in the largest letters that the room allows, in its middle."""

    def __init__(self, *, id: str, most: int = letters.MOST_SCALE) -> None:  # noqa: A002
        super().__init__(id=id)
        self._most = most
        self._text = self._plain = ""

    def say(self, text: str, if_none: str = "") -> None:
        """`if_none` is said in plain letters where there is no text."""
        self._text, self._plain = text, "" if text else if_none
        self.redraw()

    def instead(self, plain: str) -> None:
        """Plain letters, if there is no text to leave standing."""
        if not self._text:
            self._plain = plain
            self.redraw()

    def said(self) -> object:
        return self._text, self._plain

    def rows_for(self, width: int, height: int) -> Sequence[Row]:
        layout = letters.Layout((self._plain,), 0)
        if self._text:
            layout = letters.laid_out(self._text, width, height, self._most)
        above = max(height - letters.height(layout), 0) // 2
        rows: list[Row] = [[] for _ in range(above)]
        return rows + [[(line, True)] for line in letters.drawn(layout, width)]


class Beats(_Drawn):
    """The bar as movement."""

    STANDS_OUT = Style(bold=True, reverse=True)

    def __init__(self, *, id: str) -> None:  # noqa: A002
        super().__init__(id=id)
        self._share: float | None = None
        self._beats = 4

    def say(self, share: float | None, beats: int) -> None:
        """How much of the bar has gone, None while nothing is played."""
        self._share, self._beats = share, beats
        self.redraw()

    def stop(self) -> None:
        self.say(None, self._beats)

    def said(self) -> object:
        return self._share, self._beats

    def rows_for(self, width: int, height: int) -> Sequence[Row]:
        return beat_rows(self._share, self._beats, width, height)


class Facts(_Drawn):
    """Tempo, meter, key, hold and place: large letters over their labels, or one line."""

    def __init__(self, *, id: str) -> None:  # noqa: A002
        super().__init__(id=id)
        self._facts: tuple[tuple[str, str], ...] = ()

    def say(self, facts: tuple[tuple[str, str], ...]) -> None:
        """Labels and values."""
        self._facts = facts
        self.redraw()

    def said(self) -> object:
        return self._facts

    def rows_for(self, width: int, height: int) -> Sequence[Row]:
        if not self._facts:
            return []
        if height < _FACT_ROWS:
            return [_one_line(self._facts, _columns(width, [1] * len(self._facts)))]
        needs = [max(letters.points_wide(v), len(label)) + 2 for label, v in self._facts]
        columns = _columns(width, needs)
        blocks = [_block(*fact, room) for fact, room in zip(self._facts, columns, strict=True)]
        return [[piece for row in rows for piece in row] for rows in zip(*blocks, strict=True)]


def _columns(width: int, needs: Sequence[int]) -> list[int]:
    """What each needs, and of what is left each as much as another."""
    left = width - sum(needs)
    bounds = [
        sum(needs[:number]) + round(number * left / len(needs)) for number in range(len(needs) + 1)
    ]
    return [end - start for start, end in pairwise(bounds)]


def _one_line(facts: Sequence[tuple[str, str]], columns: Sequence[int]) -> Row:
    row: Row = []
    for (label, value), room in zip(facts, columns, strict=True):
        left = room - len(label) - 1 - len(value)
        before = max(left, 0) // 2
        row += [(" " * before + label + " ", False), (value, True)]
        row.append((" " * (left - before), False))
    return row


def _block(label: str, value: str, room: int) -> list[Row]:
    layout = letters.laid_out(value, room - 1, letters.cells_high(1), most=1)
    drawn = letters.drawn(layout, room)
    missing = letters.cells_high(1) - len(drawn)
    rows: list[Row] = [[(" " * room, False)] for _ in range(missing)]
    rows += [[(line, True)] for line in drawn]
    return [*rows, [(label.center(room), False)]]
