"""The view of the hands: what is pressed, what is played with which finger, and practising it.

Practising stops the music and walks through one bar of it: step by step by hand, or over and
over in time, as slow as it takes, with a hand left out for the player. The daemon knows nothing
of it but notes that it shows.
"""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from time import monotonic
from typing import Any, ClassVar

from rich.style import Style
from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.events import Resize
from textual.geometry import Region
from textual.strip import Strip
from textual.timer import Timer
from textual.widget import Widget
from textual.widgets import Static

from ripieno.dashboard.hands_picture import Scene, drawings, is_airy, notes_of, place_in, words
from ripieno.dashboard.keyboard import Reach, reach_for
from ripieno.dashboard.steps import Figure, Practice, figure_from
from ripieno.errors import AuthorError, RipienoError
from ripieno.theory.hand import Side
from ripieno.wire.status import Status

Tell = Callable[[Sequence[str]], Awaitable[Mapping[str, object]]]

_NEXT_MUTED = {None: "left", "left": "right", "right": "none"}
_LATE_S = 1.0  # a loop this far behind, as after a machine's sleep, goes on from now


class Drawing(Widget):
    """Lines that are drawn already; only those that change go to the screen again."""

    def __init__(self, **named: Any) -> None:
        super().__init__(**named)
        self._strips: tuple[Strip, ...] = ()
        self._ground = Style()

    def put(self, strips: tuple[Strip, ...]) -> None:
        before, self._strips = self._strips, strips
        if len(before) != len(strips):
            self.refresh(layout=True)
        elif before is not strips:
            rows = [row for row, strip in enumerate(strips) if strip != before[row]]
            if rows:  # without a region all is drawn
                self.refresh(Region(0, rows[0], self.size.width, rows[-1] + 1 - rows[0]))

    def get_content_height(self, *sizes: object) -> int:  # noqa: ARG002 - whatever they are
        return len(self._strips)

    def render_lines(self, crop: Region) -> list[Strip]:
        """Asks once what lies beneath: asking for each line took a third of the time."""
        self._ground = self.rich_style
        return super().render_lines(crop)

    def render_line(self, y: int) -> Strip:
        strip = self._strips[y] if y < len(self._strips) else Strip.blank(0)
        return strip.apply_style(self._ground).adjust_cell_length(self.size.width, self._ground)


class HandsView(Container, can_focus=True):
    """Both keyboards, the bar's steps, and practising them. Focus it for its keys to work."""

    DEFAULT_CSS = """
    HandsView { height: 1fr; padding: 0 1; overflow: hidden auto; }
    HandsView > Static, HandsView > Drawing { width: 100%; height: auto; }
    HandsView > Static { text-wrap: nowrap; text-overflow: clip; }
    HandsView > #hands-hint { text-wrap: wrap; }
    HandsView.-airy > .-part { margin-top: 1; }
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("e", "practise", "Practise"),
        Binding("e", "end_practice", "End practice"),
        Binding("left,comma", "step(-1)", "Back", key_display="←"),
        Binding("right,full_stop", "step(1)", "Step", key_display="→"),
        Binding("down", "pace(-1)", "Slower", key_display="↓"),
        Binding("up", "pace(1)", "Faster", key_display="↑"),
        Binding("l", "loop", "Loop"),
        Binding("u", "mute", "Mute a hand"),
    ]

    def __init__(self, tell: Tell, clock: Callable[[], float] = monotonic, **named: Any) -> None:
        super().__init__(**named)
        self._tell, self._clock = tell, clock
        self._now: Status | None = None
        self._lost: str | None = None
        self._refused: str | None = None
        self._figure: Figure | None = None
        self._figure_of: tuple[object, ...] | None = None  # what it was asked for
        self._practice: Practice | None = None
        self._serial = 0  # of the last strike that was heeded
        self._reach: Reach | None = None
        self._due_s = 0.0
        self._timer: Timer | None = None
        self._said: dict[str, Text] = {}

    def compose(self) -> ComposeResult:
        yield Static(id="hands-head")
        yield Static(id="hands-pressed-words", classes="-part")
        yield Drawing(id="hands-pressed")
        yield Static(id="hands-played-words", classes="-part")
        yield Drawing(id="hands-played")
        yield Drawing(id="hands-steps", classes="-part")
        yield Static(id="hands-hint", classes="-part")

    def show(self, now: Status) -> None:
        """The newest status; while the view is hidden it is only kept."""
        self._now, self._lost = now, None
        if self.display:
            self._heed(now)
            self._draw()

    def lost(self, why: str) -> None:
        """What was last seen stays; practice ends, as there is nothing to sound it."""
        self._lost, self._figure_of = why, None
        self._stop_timer()
        if self._practice is not None:
            self._practice = None
            self.refresh_bindings()
        self._draw()

    # What is asked of the daemon.

    def _heed(self, now: Status) -> None:
        """Ask for the bar again when it has become another one.

        A strike while practising is the next chord to practise; what it starts is stopped.
        """
        struck = now.serial not in (0, self._serial)
        self._serial = now.serial
        wanted = (now.style, now.meter, now.key, now.transpose)
        if struck and self._practice is not None and self._is_only_the_players_hand(now):
            self._send("stop")
        elif struck or wanted != self._figure_of:
            self._figure_of = wanted
            self._fetch(and_stop=struck and self._practice is not None)

    def _is_only_the_players_hand(self, now: Status) -> bool:
        """Whether the keys that are down are notes of the hand that is left to the player."""
        if now.muted is None or self._figure is None or not now.keys:
            return False
        own = {n % 12 for step in self._figure.of(Side(now.muted)) for n in step.notes}
        return {key % 12 for key in now.keys} <= own

    def _fetch(self, *, and_stop: bool) -> None:
        self.run_worker(self._fetch_figure(and_stop=and_stop), group="figure", exclusive=True)

    async def _fetch_figure(self, *, and_stop: bool) -> None:
        answer = await self._told("figure")
        if answer is not None and self._now is not None:
            try:
                self._figure = figure_from(answer, self._now.bar_quarters)
            except AuthorError as error:
                self._figure, self._refused = None, str(error)
        if and_stop:
            await self._told("stop")
        if self._practice is not None:
            self._practice = replace(self._practice, index=0)
            self._sound()
        self._draw()

    async def _told(self, *words: str) -> Mapping[str, object] | None:
        """The answer, or None and a line of refusal on the screen."""
        try:
            answer = await self._tell(words)
        except RipienoError as error:
            self._refused = str(error)
            self._draw()
            return None
        self._refused = None
        return answer

    def _send(self, *words: str) -> None:
        self.run_worker(self._told(*words), group="said")

    # Practising.

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:  # noqa: ARG002
        """The keys of practising are there while practising."""
        if action == "practise":
            return self._practice is None
        if action in ("end_practice", "step", "pace", "loop"):
            return self._practice is not None
        return True

    def action_practise(self) -> None:
        self._practice = Practice()
        self.refresh_bindings()
        self._fetch(and_stop=True)

    def action_end_practice(self) -> None:
        self._leave_practice()
        self._draw()

    def _leave_practice(self) -> None:
        if self._practice is not None:
            self._practice = None
            self._stop_timer()
            self.refresh_bindings()
            self._send("show", "none")

    def action_step(self, by: int) -> None:
        """To another moment of the bar; a loop under way ends with it."""
        if self._practice is not None and self._figure is not None and self._figure.moments:
            self._stop_timer()
            self._practice = replace(self._practice.stepped(self._figure, by), looping=False)
            self._sound()
            self._draw()

    def action_pace(self, by: int) -> None:
        if self._practice is not None:
            self._practice = self._practice.paced(by)
            self._draw()

    def action_loop(self) -> None:
        if self._practice is None or self._figure is None or not self._figure.moments:
            return
        self._practice = replace(self._practice, looping=not self._practice.looping)
        self._stop_timer()
        if self._practice.looping:
            self._due_s = self._clock()
            self._go_on()
        else:
            self._send("show", "none")
            self._draw()

    def action_mute(self) -> None:
        muted = None if self._now is None else self._now.muted
        self._send("mute", _NEXT_MUTED[muted])

    def _go_on(self) -> None:
        """Sound this moment; the next is due so long after this one was, not after now."""
        practice, figure, now = self._practice, self._figure, self._now
        if practice is None or figure is None or now is None or not figure.moments:
            return
        self._sound()
        self._draw()
        here = self._clock()
        self._due_s += practice.seconds(figure, now.bpm)
        if self._due_s < here - _LATE_S:
            self._due_s = here
        self._timer = self.set_timer(max(self._due_s - here, 0.001), self._next_in_loop)

    def _next_in_loop(self) -> None:
        if self._practice is not None and self._figure is not None and self._figure.moments:
            self._practice = self._practice.stepped(self._figure, 1)
            self._go_on()

    def _stop_timer(self) -> None:
        if self._timer is not None:
            self._timer.stop()
            self._timer = None

    def _sound(self) -> None:
        """What the hands strike at this moment, without that of the player's."""
        if (at := self._at()) is not None and self._figure is not None:
            struck = self._figure.struck(at)
            notes = [n for side in Side if side != self._muted for n in struck[side]]
            if notes:
                self._send("show", *map(str, notes))

    @property
    def _muted(self) -> str | None:
        return None if self._now is None else self._now.muted

    def _at(self) -> Fraction | None:
        """The place in the cycle: the moment that is practised, or where the music is."""
        if self._figure is None or not self._figure.moments:
            return None
        if self._practice is not None:
            return self._figure.moments[self._practice.index % len(self._figure.moments)]
        return None if self._now is None else place_in(self._figure, self._now)

    # Events of the screen.

    def on_mount(self) -> None:
        self._draw()

    def on_show(self) -> None:
        self._draw()

    def on_hide(self) -> None:
        self._leave_practice()

    def on_resize(self, event: Resize) -> None:  # noqa: ARG002
        self._draw()

    def _draw(self) -> None:
        """Only what differs from what stands there is given to the screen."""
        if not self.is_attached or not self.display or not self.size.width:
            return
        width, height = self.content_size
        self._reach = reach_for(notes_of(self._now, self._figure), width, self._reach)
        scene = Scene(
            self._now, self._lost, self._refused, self._figure, self._practice, self._at(),
            self._reach, width, height,
        )  # fmt: skip
        self.set_class(is_airy(height), "-airy")
        for name, line in words(scene).items():
            if line != self._said.get(name):
                self._said[name] = line
                self.query_one(f"#hands-{name}", Static).update(line, layout=name == "hint")
        for name, strips in drawings(scene).items():
            self.query_one(f"#hands-{name}", Drawing).put(strips)
