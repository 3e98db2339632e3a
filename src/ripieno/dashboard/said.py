"""A label that is drawn again only when it says something else."""

from typing import Any

from textual.content import Content
from textual.widgets import Static


class Said(Static):
    """Text as it is: brackets in it are no markup."""

    def __init__(self, text: str = "", **named: Any) -> None:
        """`named` are a widget's own: `id`, `classes`."""
        super().__init__(Content(text), **named)
        self._says = Content(text)

    @property
    def plain(self) -> str:
        """What it says, without its styles."""
        return self._says.plain

    def say(self, text: str | Content) -> None:
        content = Content(text) if isinstance(text, str) else text
        if content.plain == self._says.plain and content.spans == self._says.spans:
            return
        self._says = content
        self.update(content)
