"""The app: one client of the daemon, four views of what it says, and a key for every control.

It holds nothing that matters. The newest status replaces all before it, and is drawn at most ten
times a second (`pace`); a key goes to the daemon at once. A daemon that goes away is waited for.
"""

import asyncio
import gc
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.timer import Timer
from textual.widget import Widget
from textual.widgets import ContentSwitcher, Input, Static

from ripieno.dashboard import words
from ripieno.dashboard.asking import Asking
from ripieno.dashboard.hands import HandsView
from ripieno.dashboard.keybar import KeyBar
from ripieno.dashboard.pace import Pace
from ripieno.dashboard.palette import Orders
from ripieno.dashboard.rig import RigView
from ripieno.dashboard.stage import StageView
from ripieno.dashboard.styles import StylesView
from ripieno.dashboard.theme import CSS, DARK, LIGHT, THEMES
from ripieno.errors import RipienoError
from ripieno.link.async_client import AsyncClient, Lost
from ripieno.link.endpoint import Endpoint
from ripieno.wire.status import Status
from ripieno.wire.time_commands import LEADERS, MOST_LEAN

_BEGUN_S = 2.0  # by when every view has been made
_SETTLED_S = 0.3  # after its last resize a terminal has its size: tmux waits 0.25 s to tell
REFUSAL_S = 6.0  # a refusal can be read as long as that
NUDGE_MS = 10  # our choice: small enough to aim with, large enough to hear in a few presses
LEAN_STEP = 10

_ENDING = ("SIGTERM", "SIGHUP", "SIGINT")
_OF_A_SCREEN = ("SIGTSTP", "SIGCONT", "SIGWINCH")

View = StageView | HandsView | StylesView | RigView


def _one(key: str, does: str, says: str, shown: str | None = None) -> Binding:
    return Binding(key, does, says, key_display=shown)


def _hidden(key: str, does: str) -> Binding:
    return Binding(key, does, show=False)


class Dashboard(App[int]):
    """Attached to the daemon of an endpoint, whether one is there or not."""

    TITLE = "ripieno"
    CSS = CSS
    COMMANDS: ClassVar = {Orders}
    ALLOW_SELECT = False
    AUTO_FOCUS = None  # the open view says where the keys go, see _focus_view
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("s", "go('stage')", "Stage", id="stage"),
        _hidden("f1", "go('stage')"),
        Binding("d", "go('hands')", "Hands", id="hands"),
        _hidden("f2", "go('hands')"),
        Binding("f", "go('styles')", "Styles", id="styles"),
        _hidden("f3", "go('styles')"),
        Binding("g", "go('rig')", "Rig", id="rig"),
        _hidden("f4", "go('rig')"),
        _one("1", "degree('1')", "Chord", "1-7"),
        *(_hidden(f"{number}", f"degree('{number}')") for number in range(2, 8)),
        _one("0", "degree('none')", "Lift"),
        _one("space", "order('tap')", "Tap", "space"),
        _one("plus", "order('tempo +1')", "Tempo", "+-][}{"),
        _hidden("equals_sign", "order('tempo +1')"),
        _hidden("minus", "order('tempo -1')"),
        _hidden("right_square_bracket", "order('tempo +5')"),
        _hidden("left_square_bracket", "order('tempo -5')"),
        _hidden("right_curly_bracket", "order('tempo double')"),
        _hidden("left_curly_bracket", "order('tempo half')"),
        _one("left_parenthesis", f"order('nudge -{NUDGE_MS}')", "Nudge", "()"),
        _hidden("right_parenthesis", f"order('nudge +{NUDGE_MS}')"),
        _one("o", "order('downbeat')", "Downbeat"),
        _one("c", "order('count')", "Count in"),
        _one("b", "order('break')", "Break"),
        _one("r", "order('ending')", "Ending"),
        _one("w", "follow_another", "Follow"),
        _one("less_than_sign", "lean(-1)", "Lean", "<>"),
        _hidden("greater_than_sign", "lean(1)"),
        _one("n", "order('next')", "Style", "np"),
        _hidden("p", "order('previous')"),
        _one("h", "order('hold')", "Hold"),
        _one("k", "ask('key')", "Key"),
        _one("m", "ask('meter')", "Meter"),
        _one("t", "ask('transpose')", "Transpose"),
        _one("enter", "silence", "SILENCE", "Enter"),
        _one("z", "silence", "SILENCE"),
        Binding("ctrl+p", "command_palette", "More", key_display="^p"),
        _one("q", "leave", "Quit"),
        Binding("ctrl+c", "leave", show=False, priority=True),
        Binding("ctrl+l", "other_look", show=False),
    ]

    def __init__(self, endpoint: Endpoint, *, look: str = DARK) -> None:
        super().__init__()
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = look
        self._client = AsyncClient(endpoint)
        self._flashed = 0
        self._said = words.health(self._client.seen)
        self._resized: Timer | None = None

    # What is on the screen.

    def compose(self) -> ComposeResult:
        views = {
            "stage": StageView(),
            "hands": HandsView(self.tell),
            "styles": StylesView(self.tell),
            "rig": RigView(self.tell),
        }
        with ContentSwitcher(id="views", initial="stage"):
            for name, view in views.items():
                view.id = name
                yield view
        yield Static(id="health", markup=False)
        yield Asking(self.tell, self._asked, id="asking")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        """The client lives as long as the screen does."""
        if not self.is_headless:
            self._end_on_signals()
            self.set_timer(_BEGUN_S, _hold_garbage)
        self.run_worker(self._follow())
        self.query_one(KeyBar).mark("stage")
        self._focus_view()

    def _end_on_signals(self) -> None:
        """The terminal is given back as it was found, whatever ends us."""
        for name in _ENDING:
            if hasattr(signal, name):
                number = getattr(signal, name)
                asyncio.get_running_loop().add_signal_handler(number, self.exit, 0)

    @property
    def view(self) -> View:
        """The view that is open."""
        view = self.query_one("#views", ContentSwitcher).visible_content
        assert isinstance(view, View), "one of them always is"
        return view

    async def _follow(self) -> None:
        """What has been seen while a frame lasted is drawn once, the newest alone."""
        pace = Pace()
        async with self._client:
            self._show()
            async for _ in self._client.news():
                self._show()
                await asyncio.sleep(pace.rest_s())

    def _show(self) -> None:
        seen = self._client.seen
        self.query_one("#views").set_class(isinstance(seen, Lost), "lost")
        if isinstance(seen, Status):
            self.view.show(seen)
        else:
            self.view.lost(seen.why)
        if not self._flashed:
            self._say(words.health(seen))

    def _say(self, sentence: words.Sentence) -> None:
        line, text = self.query_one("#health", Static), sentence.fitted(self.size.width)
        if line.content != text:
            line.update(text)
        line.set_class(sentence.wrong, "wrong")
        self._said = sentence

    def on_resize(self) -> None:
        """The words fit another width; and once it has its size, everything is drawn again.

        A terminal that is resized several times in a row may cut off what was drawn between, and
        nobody tells.
        """
        self._say(self._said)
        if self._resized is not None:
            self._resized.stop()
        self._resized = self.set_timer(_SETTLED_S, self.refresh)

    def flash(self, text: str, *, wrong: bool) -> None:
        """A sentence in the health line's place, for some seconds."""
        self._flashed += 1
        self._say(words.Sentence(text, wrong=wrong))
        self.set_timer(REFUSAL_S, self._flash_over)

    def _flash_over(self) -> None:
        self._flashed -= 1
        if not self._flashed:
            self._say(words.health(self._client.seen))

    # What is told to the daemon.

    async def tell(self, told: Sequence[str]) -> dict[str, object]:
        """The result of a command. Raises AuthorError, MachineError."""
        result = await self._client.tell(told)
        if (note := words.result_note(result)) is not None:
            self.flash(note, wrong=False)
        return result

    def order(self, told: Sequence[str], then: str = "") -> None:
        """Have a command carried out; a refusal is shown, and `then` said if there is none."""
        self.run_worker(self._order(told, then))

    async def _order(self, told: Sequence[str], then: str) -> None:
        try:
            await self.tell(told)
        except RipienoError as refusal:
            self.flash(str(refusal), wrong=True)
        else:
            if then:
                self.flash(then, wrong=False)

    def ask(self, name: str, form: str) -> None:
        """Ask for the words that a command goes on with."""
        self.query_one(Asking).open(f"{name} ({form}):", [name])

    def _asked(self) -> None:
        self._focus_view()

    # Keys.

    def action_order(self, told: str) -> None:
        self.order(told.split())

    def action_degree(self, number: str) -> None:
        self.order(["degree", number])

    def action_silence(self) -> None:
        self.order(["silence"], "All is silent. The next chord begins again.")

    def action_follow_another(self) -> None:
        """Nobody, then a clock, then the hands, and round again."""
        seen = self._client.seen
        before = seen.follow if isinstance(seen, Status) else LEADERS[-1]
        place = LEADERS.index(before) if before in LEADERS else -1
        leader = LEADERS[(place + 1) % len(LEADERS)]
        self.order(["follow", leader], words.FOLLOWS[leader])

    def action_lean(self, steps: int) -> None:
        """How closely the hands are followed, whether they are just now or not."""
        seen = self._client.seen
        lean = seen.lean if isinstance(seen, Status) else 0
        lean = min(max(lean + steps * LEAN_STEP, 0), MOST_LEAN)
        self.order(["lean", str(lean)], words.lean(lean))

    def action_ask(self, name: str) -> None:
        self.ask(name, words.ASKED[name])

    def action_go(self, name: str) -> None:
        """Open a view."""
        self.query_one("#views", ContentSwitcher).current = name
        self.query_one(KeyBar).mark(name)
        self._show()
        self._focus_view()

    def action_leave(self) -> None:
        self.exit(0)

    def action_other_look(self) -> None:
        self.theme = LIGHT if self.theme == DARK else DARK

    def own_orders(self) -> Iterator[tuple[str, str, Callable[[], None]]]:
        """What the palette offers besides the daemon's commands."""
        for name, does in words.VIEWS.items():
            yield f"{name} view", does, lambda name=name: self.action_go(name)  # type: ignore[misc]
        yield "other look", "dark for a stage, light for a sunlit room", self.action_other_look
        yield "quit", "leave this screen", self.action_leave

    def _focus_view(self) -> None:
        """A view's keys hold while the focus is in it; a field to type in does not begin."""
        inside: list[Widget] = [self.view, *self.view.query("*")]
        able = [w for w in inside if w.focusable and not isinstance(w, Input)]
        self.set_focus(able[0] if able else None)


def _hold_garbage() -> None:
    """What is there by now stays: to look through it again and again held keys up by 0.1 s."""
    gc.collect()
    gc.freeze()


def run_dashboard(endpoint: Endpoint, *, look: str = DARK) -> int:
    """Show the daemon of an endpoint in this terminal until told to leave; the exit status.

    To be called in the main thread of its process, where signals arrive; TERM, HUP and INT
    leave the screen in order. What they meant before, they mean again afterwards.
    """
    app = Dashboard(endpoint, look=look)
    with _signals_restored():
        app.run(mouse=False)
    return app.return_code or 0


@contextmanager
def _signals_restored() -> Iterator[None]:
    assert threading.current_thread() is threading.main_thread(), "signals arrive there alone"
    names = [name for name in (*_ENDING, *_OF_A_SCREEN) if hasattr(signal, name)]
    before = {name: signal.getsignal(getattr(signal, name)) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
