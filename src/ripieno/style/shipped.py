"""Where styles are: those that come with the program, and the user's own.

The file's stem is a style's id. A user's style hides the shipped one of the same id.
"""

import difflib
import os
from importlib.resources import files
from pathlib import Path

from platformdirs import user_config_path

from ripieno.errors import AuthorError
from ripieno.style.yaml_marks import shown


def presets_folder() -> Path:
    """The shipped presets: inside the package, or beside `src` in a source checkout."""
    package = Path(str(files("ripieno")))
    installed = package / "presets"
    return installed if installed.is_dir() else package.parents[1] / "presets"


def shipped_styles() -> list[Path]:
    """The style files that come with the program, by id."""
    return _styles_in(presets_folder() / "styles")


def user_styles_folder() -> Path:
    """Where the user's own styles lie; it need not exist."""
    return user_config_path("ripieno", appauthor=False) / "styles"


def all_styles(user_folder: Path | None) -> list[Path]:
    """Every style file that an id reaches, by id."""
    own = _styles_in(user_folder) if user_folder else []
    by_id = {path.stem: path for path in [*shipped_styles(), *own]}
    return [by_id[name] for name in sorted(by_id)]


def find_style(id_or_path: str, user_folder: Path | None) -> Path:
    """The file of a style named by its id or by its path; the path may not exist.

    What has a separator or ends in .yaml is a path. Raises AuthorError for an unknown id.
    """
    separators = {os.sep, os.altsep or os.sep}
    if id_or_path.endswith(".yaml") or separators & set(id_or_path):
        return Path(id_or_path)
    by_id = {path.stem: path for path in all_styles(user_folder)}
    if id_or_path in by_id:
        return by_id[id_or_path]
    near = difflib.get_close_matches(id_or_path[:80], by_id, n=3)
    hint = f"did you mean {' or '.join(near)}?" if near else "`ripieno styles` lists them"
    raise AuthorError(f"there is no style {shown(id_or_path)}; {hint}")


def _styles_in(folder: Path) -> list[Path]:
    """None in a folder that may not be entered, for the others are there all the same."""
    try:
        return sorted(folder.glob("*.yaml"), key=lambda path: path.stem)
    except OSError:
        return []
