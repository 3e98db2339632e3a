"""One line in which something is typed: a key, a meter, any command."""

from collections.abc import Awaitable, Callable, Sequence

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.widgets import Input, Static

from ripieno.errors import RipienoError

Tell = Callable[[Sequence[str]], Awaitable[dict[str, object]]]


class _Line(Input):
    """Enter does what is typed, and says so among the keys."""

    BINDINGS = [Binding("enter", "submit", "Do it", key_display="enter")]  # noqa: RUF012 - as Textual has it


class Asking(Vertical):
    """Opened with a question; what is typed is told to the daemon as the rest of a command.

    Enter tells it, and alone leaves it. A refusal stands under it until it is mended.
    """

    BINDINGS = [Binding("escape", "leave", "Leave it")]  # noqa: RUF012 - as Textual has it

    def __init__(self, tell: Tell, then: Callable[[], None], *, id: str) -> None:  # noqa: A002
        super().__init__(id=id)
        self._tell, self._then = tell, then
        self._begins: tuple[str, ...] = ()

    def compose(self) -> ComposeResult:
        with Horizontal():
            yield Static(id="asked", markup=False)
            yield _Line(compact=True)
        yield Static(id="refused", markup=False)

    def open(self, question: str, begins: Sequence[str], typed: str = "") -> None:
        """`begins` are the words of the command that what is typed goes on with."""
        self._begins = tuple(begins)
        self.query_one("#asked", Static).update(question)
        self._refuse("")
        field = self.query_one(Input)
        field.value = typed
        field.cursor_position = len(typed)
        self.add_class("open")
        field.focus()

    def action_leave(self) -> None:
        """Nothing is told."""
        self.remove_class("open")
        self._then()

    async def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        typed = event.value.split()
        if not typed:
            self.action_leave()
            return
        try:
            await self._tell((*self._begins, *typed))
        except RipienoError as refusal:
            self._refuse(str(refusal))
        else:
            self.action_leave()

    def _refuse(self, why: str) -> None:
        label = self.query_one("#refused", Static)
        label.update(why)
        label.set_class(bool(why), "said")
