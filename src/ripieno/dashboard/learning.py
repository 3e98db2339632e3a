"""Learned controls: pick a command, press the control; or have one forgotten."""

from collections.abc import Awaitable, Callable, Sequence
from enum import Enum, auto
from typing import ClassVar, TypeAlias

from textual import events, on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, OptionList
from textual.widgets.option_list import Option

from ripieno.dashboard.said import Said
from ripieno.errors import AuthorError, RipienoError
from ripieno.wire.command import TABLE, UNLEARNT, command_from
from ripieno.wire.status import ControlStatus, Status
from ripieno.wire.words import Row

Tell: TypeAlias = Callable[[Sequence[str]], Awaitable[dict[str, object]]]

LEARNABLE = {row.name: row for row in TABLE if row.name not in UNLEARNT}
_BACK = "back"


class Mode(Enum):
    """What the panel is there for."""

    CLOSED = auto()
    PICK = auto()  # a command to be learnt
    WAIT = auto()  # for the control to be pressed
    FORGET = auto()


_TITLES = {
    Mode.CLOSED: "",
    Mode.PICK: "What shall the control do? Choose below, or type it and press Enter.",
    Mode.FORGET: "Which control shall do nothing any more? Enter forgets it.",
}


class ControlsPanel(Vertical):
    """Hidden while it is closed, except for a line on what came of it."""

    DEFAULT_CSS = """
    ControlsPanel { height: auto; display: none; }
    ControlsPanel.open { display: block; border: round $accent; padding: 0 1; max-height: 75%; }
    ControlsPanel Said { text-style: bold; }
    ControlsPanel #form { text-style: none; display: none; }
    ControlsPanel OptionList {
        height: auto; max-height: 9; border: none; padding: 0; scrollbar-size-vertical: 1;
        scrollbar-gutter: stable;
    }
    """
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "close", "Back")]

    def __init__(self, tell: Tell, say: Callable[[str], None], leave: Callable[[], None]) -> None:
        """`say` shows what came of it; `leave` gives the focus back."""
        super().__init__(disabled=True)  # nothing in it takes the focus while it is hidden
        self._tell, self._say, self._leave = tell, say, leave
        self._mode = Mode.CLOSED
        self._controls: tuple[ControlStatus, ...] = ()
        self._learning: tuple[str, ...] | None = None

    def compose(self) -> ComposeResult:
        yield Said("", id="title")
        yield Input(
            placeholder="such as: next, tempo +2, style waltz", compact=True, select_on_focus=False
        )
        yield Said("", id="form")
        yield OptionList(markup=False, compact=True)

    @property
    def mode(self) -> Mode:
        return self._mode

    def show(self, now: Status) -> None:
        """The daemon's newest status: it says when a control has been pressed."""
        if (now.learning, now.controls) == (self._learning, self._controls):
            return
        waited, known = self._learning, self._controls
        self._learning, self._controls = now.learning, now.controls
        if now.learning is not None:
            self._open(Mode.WAIT)
            self.query_one("#title", Said).say(
                f"Press the control now: a button, a pedal, a key or a program change. It will "
                f"do: {' '.join(now.learning)}. Press l to wait no longer."
            )
        elif waited is not None:
            self._say(_learnt(known, now.controls))
            self.action_close()
        elif self._mode is Mode.FORGET:
            self._offer_controls()

    def lost(self) -> None:
        """Nothing can be learned now."""
        self._learning = None
        self.action_close()

    def learn(self) -> None:
        """Begin, or wait no longer."""
        if self._mode is Mode.WAIT:
            self._do(["learn"])
        elif self._mode is Mode.PICK:
            self.action_close()
        else:
            self._open(Mode.PICK)
            self.query_one(Input).value = ""
            self._offer_commands("")
            self.query_one(OptionList).focus()

    def forget(self) -> None:
        """Offer the learned controls."""
        if self._mode is Mode.FORGET:
            self.action_close()
        elif not self._controls:
            self._say("There is no learned control to forget. Press l to learn one.")
        else:
            self._open(Mode.FORGET)
            self._offer_controls()
            self.query_one(OptionList).focus()

    def action_close(self) -> None:
        if self._mode is not Mode.CLOSED:
            self._open(Mode.CLOSED)
            self._leave()

    def _open(self, mode: Mode) -> None:
        had_focus = self.has_focus_within
        self._mode = mode
        self.disabled = mode in (Mode.CLOSED, Mode.WAIT)
        self.set_class(mode is not Mode.CLOSED, "open")
        self.query_one("#title", Said).say(_TITLES.get(mode, ""))
        self.query_one(Input).display = mode is Mode.PICK
        self.query_one(OptionList).display = mode in (Mode.PICK, Mode.FORGET)
        self._show_form(None)
        if mode is Mode.WAIT and had_focus:
            self._leave()

    def _offer_commands(self, text: str) -> None:
        rows = _rows_for(text)
        options = [Option(_offered(row), id=row.name) for row in rows]
        self._offer([*options, Option("go back", id=_BACK)])

    def _offer_controls(self) -> None:
        options = [
            Option(f"{control.press} does: {' '.join(control.do)}", id=str(index))
            for index, control in enumerate(self._controls)
        ]
        self._offer([*options, Option("go back", id=_BACK)])

    def _offer(self, options: list[Option]) -> None:
        offered = self.query_one(OptionList)
        offered.clear_options()
        offered.add_options(options)
        offered.highlighted = 0

    def _show_form(self, text: str | None) -> None:
        form = self.query_one("#form", Said)
        form.display = text is not None
        form.say(text or "")

    @on(Input.Changed)
    def _typed(self, event: Input.Changed) -> None:
        event.stop()
        if self._mode is not Mode.PICK:
            return
        name = event.value.partition(" ")[0]
        row = LEARNABLE.get(name)
        self._show_form(None if row is None else f"{row.name} {row.form}".strip() + f": {row.does}")
        self._offer_commands(event.value)

    @on(Input.Submitted)
    def _entered(self, event: Input.Submitted) -> None:
        event.stop()
        words = event.value.split()
        if words and words[0] not in LEARNABLE and (rows := _rows_for(event.value)):
            self._pick(rows[0])
        else:
            self._learn(words)

    @on(OptionList.OptionSelected)
    def _chosen(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        if event.option_id == _BACK or event.option_id is None:
            self.action_close()
        elif self._mode is Mode.PICK:
            self._pick(LEARNABLE[event.option_id])
        elif self._mode is Mode.FORGET:
            self._do(["forget", *self._controls[int(event.option_id)].do])

    def on_key(self, event: events.Key) -> None:
        """Down leaves the field for the list, up comes back from its top."""
        options, field = self.query_one(OptionList), self.query_one(Input)
        if event.key == "down" and field.has_focus:
            event.stop()
            options.focus()

    def _pick(self, row: Row) -> None:
        """A command of one word is learnt at once; another waits for its rest to be typed."""
        if not row.form:
            self._learn([row.name])
            return
        field = self.query_one(Input)
        field.value = f"{row.name} "
        field.focus()
        field.cursor_position = len(field.value)

    def _learn(self, words: Sequence[str]) -> None:
        try:
            command_from(["learn", *words] if words else [])
        except AuthorError as fault:
            self._show_form(str(fault))
        else:
            self._do(["learn", *words])

    @work(group="controls")
    async def _do(self, words: Sequence[str]) -> None:
        try:
            result = await self._tell(words)
        except RipienoError as fault:
            self._say(f"{' '.join(words)}: {fault}")
            return
        if words[0] == "forget":
            self._say(f"Forgotten: {result.get('forgotten', ' '.join(words[1:]))}")
            self.action_close()


def _learnt(before: tuple[ControlStatus, ...], now: tuple[ControlStatus, ...]) -> str:
    new = [control for control in now if control not in before]
    if not new:
        return "No control was learned."
    return f"Learned: {new[-1].press} does: {' '.join(new[-1].do)}"


def _rows_for(text: str) -> list[Row]:
    """The commands whose name begins so; all for no text, and for none that does."""
    name = text.strip().partition(" ")[0].lower()
    rows = [row for row in LEARNABLE.values() if row.name.startswith(name)]
    return rows or [] if name else list(LEARNABLE.values())


def _offered(row: Row) -> Content:
    return Content.assemble((f"{row.name} {row.form}".strip(), "bold"), f" - {row.does}")
