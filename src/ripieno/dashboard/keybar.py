"""The keys that do something here and now, on as many lines as they need."""

from collections.abc import Iterator

from rich.style import Style
from rich.text import Text
from textual.app import RenderResult
from textual.binding import ActiveBinding
from textual.keys import key_to_character
from textual.screen import Screen
from textual.widget import Widget

_GAP = 2
_KEY = Style(bold=True)
_HERE = Style(bold=True, reverse=True)


class KeyBar(Widget):
    """The bindings that show, each as its key and what it does; nothing is cut.

    A binding's `id` that is the id of the view that is open marks it as the place where one is.
    """

    here = ""

    def on_mount(self) -> None:
        self.screen.bindings_updated_signal.subscribe(self, self._changed)

    def on_unmount(self) -> None:
        self.screen.bindings_updated_signal.unsubscribe(self)

    def mark(self, here: str) -> None:
        """Another view is open."""
        self.here = here
        self.refresh(layout=True)

    def get_content_height(self, *sizes: object) -> int:
        """Textual asks with the container, the viewport and the width."""
        width = sizes[-1]
        assert isinstance(width, int), "the last of them is the width"
        return len(self._lines(width))

    def render(self) -> RenderResult:
        return Text("\n").join(self._lines(self.content_size.width))

    def _changed(self, screen: Screen[object]) -> None:
        if self.is_attached and screen is self.screen:
            self.refresh(layout=True)

    def _lines(self, width: int) -> list[Text]:
        lines = [Text(no_wrap=True)]
        for entry in self._entries():
            if lines[-1] and lines[-1].cell_len + _GAP + entry.cell_len > width:
                lines.append(Text(no_wrap=True))
            elif lines[-1]:
                lines[-1].append(" " * _GAP)
            lines[-1].append_text(entry)
        return lines

    def _entries(self) -> Iterator[Text]:
        """One for each action that shows, those of what has the focus first."""
        seen: set[tuple[str, str]] = set()
        for active in self.screen.active_bindings.values():
            binding = active.binding
            what = (binding.action, binding.description)
            if binding.show and what not in seen and not self._is_typed(active):
                seen.add(what)
                key = self.app.get_key_display(binding)
                is_here = binding.id is not None and binding.id == self.here
                yield Text.assemble(
                    (key, _HERE if is_here else _KEY),
                    (f" {binding.description}", _HERE if is_here else Style()),
                )

    def _is_typed(self, active: ActiveBinding) -> bool:
        """Whether the key is a letter to a field that is being written in."""
        focused = self.screen.focused
        if focused is None or active.node is focused:
            return False
        key = active.binding.key
        character = "+" if key == "plus" else key_to_character(key)  # it knows no plus
        return focused.check_consume_key(active.binding.key, character)
