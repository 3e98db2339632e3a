"""All styles as somebody who looks for one sees them."""

import json
from pathlib import Path

from ripieno.errors import AuthorError
from ripieno.host.figures import notes_a_bar
from ripieno.host.library import Library
from ripieno.perform.chosen import Chosen
from ripieno.perform.settings import Settings
from ripieno.style.account import account
from ripieno.style.model import Pedal, Style, Swings
from ripieno.style.shipped import all_styles, user_styles_folder

Entry = dict[str, object]

_MOST_BYTES = 48 * 1024  # of all entries: an answer has a bound
_TITLE = 4  # lines of an account that are in the entry already


def entries(library: Library, id: str | None = None) -> list[Entry]:  # noqa: A002 - a style's
    """One for each style, or for the one named; a faulty file has `faults` instead of a style.

    Accounts are left out where all together would be too long; ask for one style then.
    """
    paths = [path for path in all_styles(user_styles_folder()) if id in (None, path.stem)]
    if id is not None and not paths:
        library.style(id)  # says what there is instead
    found = [_entry(library, path) for path in paths]
    if len(json.dumps(found)) > _MOST_BYTES:
        return [entry | {"account": []} for entry in found]
    return found


def _entry(library: Library, path: Path) -> Entry:
    place: Entry = {
        "id": path.stem,
        "file": str(path),
        "own": path.is_relative_to(user_styles_folder()),
    }
    try:
        return place | _described(library.style(path.stem)) | {"faults": []}
    except AuthorError as fault:
        return place | _UNKNOWN | {"name": path.stem, "faults": str(fault).splitlines()}


_UNKNOWN: Entry = {
    "use": "",
    "suits": [],
    "meters": [],
    "hands": "both",
    "density": 0.0,
    "swings": False,
    "pedal": False,
    "account": [],
}


def _described(style: Style) -> Entry:
    hands = {(True, False): "left", (False, True): "right"}
    has = style.left is not None, style.right is not None
    return {
        "name": style.name,
        "use": style.use,
        "suits": list(style.suits),
        "meters": [str(meter) for figure in style.figures for meter in figure.meters],
        "hands": hands.get(has, "both"),
        "density": notes_a_bar(Chosen(Settings(meter=style.own_meter), style)),
        "swings": style.swings is not Swings.NONE,
        "pedal": style.pedal is not Pedal.NONE,
        "account": account(style).splitlines()[_TITLE:],
    }
