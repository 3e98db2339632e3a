"""The styles view: find one, read what it does, hear it, choose it, edit it."""

import os
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from textwrap import wrap
from typing import ClassVar, TypeAlias

from textual import events, on, work
from textual.app import ComposeResult, SuspendNotSupported
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Input, OptionList
from textual.widgets.option_list import Option

from ripieno.dashboard.editing import edit, editor, own_file
from ripieno.dashboard.faults import place_of, shown_there
from ripieno.dashboard.finding import RULE, ListedStyle, density_word, found, styles_from
from ripieno.dashboard.said import Said
from ripieno.dashboard.words import why_lost
from ripieno.errors import MachineError, RipienoError
from ripieno.wire.status import Status

Tell: TypeAlias = Callable[[Sequence[str]], Awaitable[dict[str, object]]]

_MOST_BYTES = 256 * 1024  # of a file that a fault is shown in
_WIDE = 60  # columns of the list, from which there is room for more than the name
_NAME_COLUMNS = 30
_AROUND = 3  # columns of a line that are no name: the sign, a space, the scroll bar
_FEWEST_COLUMNS = 20
_SHADOWS = ", a copy of your own that goes before the one that comes with the program"


class StyleList(OptionList):
    """Enter chooses, and says so among the keys."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "select", "Choose", key_display="enter")
    ]


class _Search(Input):
    """Enter leaves it for what was found, and says so among the keys."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "submit", "To the list", key_display="enter"),
    ]


class StylesView(Vertical):
    """Asks for the list when it comes into sight, and after an edit."""

    DEFAULT_CSS = """
    StylesView { height: 1fr; padding: 0 1; }
    StylesView #search { height: 1; }
    StylesView #search Said { width: auto; text-style: bold; }
    StylesView #search Input { width: 1fr; }
    StylesView #rule { color: $text-muted; }
    StylesView #both { height: 1fr; }
    StylesView OptionList { width: 2fr; min-width: 34; height: 1fr; border: round $foreground 40%; }
    StylesView OptionList, StylesView #account {
        background: $background; scrollbar-size-vertical: 1; scrollbar-gutter: stable;
    }
    StylesView #account { width: 3fr; height: 1fr; border: round $foreground 40%; padding: 0 1; }
    StylesView OptionList:focus, StylesView #account:focus { border: heavy $accent; }
    StylesView #outcome { min-height: 1; text-style: bold; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("slash", "search", "Search", key_display="/"),
        Binding("l", "hear", "Listen"),
        Binding("e", "edit", "Edit"),
    ]

    def __init__(self, tell: Tell, *, id: str | None = None) -> None:  # noqa: A002 - a widget's
        super().__init__(id=id)
        self._tell = tell
        self._styles: tuple[ListedStyle, ...] = ()
        self._is_current = False  # whether the list was asked for since it could have changed
        self._now: Status | None = None
        self._marked: tuple[str | None, str | None] = (None, None)
        self._edited_id: str | None = None  # until the list has come again
        self._wanted: str | None = None  # where the cursor stays while the list is cut down

    def compose(self) -> ComposeResult:
        with Horizontal(id="search"):
            yield Said("Find ")
            yield _Search(placeholder="press / and type: calm, in 3/4, left hand...", compact=True)
        yield Said(RULE, id="rule")
        with Horizontal(id="both"):
            yield StyleList(markup=False)
            with VerticalScroll(id="account", can_focus=True):
                yield Said("", id="words")
        yield Said("", id="outcome")

    def on_mount(self) -> None:
        self._list.border_title = "Styles"
        account = self.query_one("#account")
        account.border_title = "What it does"
        account.border_subtitle = "Tab comes here, the arrows scroll"

    def on_show(self) -> None:
        self._list.focus()
        self._look()

    def on_hide(self) -> None:
        """Files may change while nobody looks."""
        self._is_current = False

    def on_resize(self, _: events.Resize) -> None:
        self.call_after_refresh(self._fill)

    def show(self, now: Status) -> None:
        """The daemon's newest status."""
        before, self._now = self._now, now
        if before is None:
            self._say("")
            self._wanted = self._wanted or now.style
        marks = now.style, now.hearing
        if marks != self._marked:
            self._marked = marks
            self._mark_again()
            self._tell_hearing(None if before is None else before.hearing)
        self._look()

    def lost(self, why: str) -> None:
        """There is no daemon; the list stays as it was."""
        self._now, self._is_current = None, False
        self._say(f"{why_lost(why)} What stands here was known before; nothing can be chosen now.")

    # What is asked of the daemon.

    def _look(self) -> None:
        if self._now is not None and self.display and not self._is_current:
            self._is_current = True
            self._ask()

    @work(group="list", exclusive=True)
    async def _ask(self) -> None:
        try:
            self._styles = styles_from(await self._tell(["styles"]))
        except RipienoError as fault:
            self._say(f"The styles cannot be listed: {fault}")
            return
        if self._edited_id is not None:
            self._keep_in_sight(self._edited_id)
        self._fill()

    @work(group="account", exclusive=True)
    async def _ask_account(self, style: ListedStyle) -> None:
        """One that the list had no room for."""
        try:
            told = styles_from(await self._tell(["styles", style.id]))
        except RipienoError as fault:
            self._say(f"{style.name} cannot be told of: {fault}")
            return
        with_it = {other.id: other for other in told if other.account}
        self._styles = tuple(with_it.get(other.id, other) for other in self._styles)
        if with_it:
            self._read_out()

    @work(group="told")
    async def _do(self, words: Sequence[str], done: str, refused: str) -> None:
        try:
            await self._tell(words)
        except RipienoError as fault:
            self._say(f"{refused}: {fault}")
        else:
            self._say(done)

    # What the player does.

    @on(OptionList.OptionSelected)
    def _choose(self) -> None:
        style = self._under_cursor
        if style is not None:
            self._do(["style", style.id], f"Plays on in {style.name}.", f"{style.name}: not chosen")

    @on(OptionList.OptionHighlighted)
    def _move(self, event: OptionList.OptionHighlighted) -> None:
        if event.option_id is not None:
            self._wanted = event.option_id
        self._read_out()

    @on(Input.Changed)
    def _search(self) -> None:
        self._fill(from_top=True)

    @on(Input.Submitted)
    def _searched(self) -> None:
        self._list.focus()

    def on_key(self, event: events.Key) -> None:
        """Down leaves the search field for the list."""
        if event.key == "down" and self.query_one(Input).has_focus:
            event.stop()
            self._list.focus()

    def action_search(self) -> None:
        self.query_one(Input).focus()

    def action_hear(self) -> None:
        style = self._under_cursor
        if style is None:
            return
        if self._now is not None and self._now.hearing == style.id:
            self._do(["hear", "none"], "", "It goes on")
        else:
            self._do(["hear", style.id], "", f"{style.name} cannot be heard now")

    @work(group="edit", exclusive=True)
    async def action_edit(self) -> None:
        """The user's own file of it in the user's editor, which has the terminal meanwhile."""
        style = self._under_cursor
        if style is None:
            return
        try:
            path, command = own_file(style), editor(os.environ)
            fault = await self._edited(path, command)
        except (MachineError, SuspendNotSupported) as error:
            self._say(f"{style.name} cannot be edited here: {error}")
            return
        self._say(fault or f"Edited: {path}" + _SHADOWS * (not style.own))
        if not style.own and self._now is not None and self._now.style == style.id:
            self._do(["style", style.id], f"Plays on in your own {style.name}: {path}", str(path))
        self._is_current, self._edited_id = False, style.id
        self._look()

    async def _edited(self, path: Path, command: Sequence[str]) -> str | None:
        """What went wrong, for nothing may be raised where the terminal is lent.

        Nothing is drawn meanwhile, but the daemon is still listened to.
        """
        with self.app.suspend(), self.app.batch_update():
            try:
                await edit(path, command)
            except MachineError as fault:
                return f"{path}: {fault}"
        return None

    # What is drawn.

    @property
    def _list(self) -> OptionList:
        return self.query_one(OptionList)

    @property
    def _under_cursor(self) -> ListedStyle | None:
        option = self._list.highlighted_option
        wanted = None if option is None else option.id
        return next((style for style in self._styles if style.id == wanted), None)

    def _say(self, text: str) -> None:
        self.query_one("#outcome", Said).say(text)

    def _tell_hearing(self, before: str | None) -> None:
        hearing = None if self._now is None else self._now.hearing
        if hearing is not None:
            name = next((style.name for style in self._styles if style.id == hearing), hearing)
            self._say(f"You hear four chords in {name}. Listen again ends it.")
        elif before is not None:
            self._say("That was it. Enter chooses the style under the cursor.")

    def _fill(self, *, from_top: bool = False) -> None:
        """The list, cut down by the search; the cursor stays on its style if that is found."""
        text = self.query_one(Input).value
        styles = found(self._styles, text)
        options, wanted = self._list, self._wanted
        options.clear_options()
        options.add_options([Option(self._prompt(style), id=style.id) for style in styles])
        ids = [style.id for style in styles]
        if ids:
            stays = wanted in ids and not (from_top and text.strip())
            options.highlighted = ids.index(wanted) if stays and wanted else 0
        whole = f"{len(self._styles)} styles"
        options.border_title = whole if len(ids) == len(self._styles) else f"{len(ids)} of {whole}"
        self._read_out()

    def _keep_in_sight(self, edited: str) -> None:
        """A style that the search does not find since it was edited; its faults must be seen."""
        self._wanted, self._edited_id = edited, None
        field = self.query_one(Input)
        if all(style.id != edited for style in found(self._styles, field.value)):
            field.value = ""

    def _mark_again(self) -> None:
        options = self._list
        for index, option in enumerate(options.options):
            style = next((style for style in self._styles if style.id == option.id), None)
            if style is not None:
                prompt = self._prompt(style)
                if prompt != option.prompt:
                    options.replace_option_prompt_at_index(index, prompt)

    def _prompt(self, style: ListedStyle) -> Content:
        """`>` plays, `~` is heard, `!` has faults: signs, for not everyone sees colours."""
        chosen, hearing = self._marked
        if style.faults:
            return Content.assemble("! ", style.name, (" (has faults)", "bold"))
        sign = "~ " if style.id == hearing else "> " if style.id == chosen else "  "
        name = (style.name, "bold" if sign.strip() else "")
        word = " (heard)" if style.id == hearing else " (plays)" if style.id == chosen else ""
        if self._list.size.width < _WIDE:
            parts = wrap(style.name + word, max(self._list.size.width - _AROUND, _FEWEST_COLUMNS))
            return Content.assemble(sign, ("\n  ".join(parts), name[1]))
        more = f"{density_word(style.density):9} {hands_words(style.hands):11}"
        room = " " * max(1, _NAME_COLUMNS - len(style.name) - len(word))
        return Content.assemble(sign, name, word, room, more, " ".join(style.meters[:3]))

    def _read_out(self) -> None:
        style = self._under_cursor
        words = self.query_one("#words", Said)
        if style is not None:
            words.say(account_of(style, _text_of(style), words.size.width))
            if not style.account and not style.faults:
                self._ask_account(style)
        elif self._styles:
            words.say("No style has all these words. Take one out of the search.")
        else:
            words.say("The list of styles has not come yet.")


def account_of(style: ListedStyle, text: str | None, columns: int) -> Content:
    """A style in plain words; `text` is its file's, to show faults where they are."""
    whose = f"yours: {style.file}" if style.own else "comes with the program"
    parts: list[str | tuple[str, str]] = [(style.name, "bold"), f"\n{style.id} ({whose})\n"]
    if style.faults:
        parts.append(("\nIt cannot be played until its file is mended; e opens it.\n", "bold"))
        parts += [
            f"\n{line}" for fault in style.faults for line in shown_there(fault, text, columns)
        ]
        return Content.assemble(*parts)
    parts += [f"\n{style.use}\n", "\n", *_properties(style)]
    if style.account:
        parts += ["\n", *(f"\n{_hanging(line, columns)}" for line in style.account)]
    return Content.assemble(*parts)


def hands_words(hands: str) -> str:
    """`both hands`, `left hand`."""
    return "both hands" if hands == "both" else f"{hands} hand"


def _hanging(line: str, columns: int) -> str:
    """Broken into lines of so many columns, those after the first further in."""
    indent = line[: len(line) - len(line.lstrip())]
    width = max(columns, _FEWEST_COLUMNS)
    return "\n".join(wrap(line, width, subsequent_indent=f"{indent}  "))


def _properties(style: ListedStyle) -> list[str]:
    notes = "" if style.density is None else f": {style.density:.0f} notes a bar"
    return [
        f"Suits {', '.join(style.suits)}\n",
        f"{hands_words(style.hands).capitalize()}, {density_word(style.density)}{notes}\n",
        f"Made for {', '.join(style.meters)}",
    ]


def _text_of(style: ListedStyle) -> str | None:
    """The file in which a fault lies; None if it cannot be read here."""
    place = next((found for found in map(place_of, style.faults) if found is not None), None)
    if place is None:
        return None
    try:
        with Path(place.file).open("rb") as file:
            return file.read(_MOST_BYTES).decode(errors="replace")
    except OSError:
        return None
