"""The styles as the host plays them: found by id, read once, read again when a file changes."""

from pathlib import Path

from ripieno.errors import AuthorError
from ripieno.style.model import Style
from ripieno.style.shipped import all_styles, find_style, user_styles_folder


class Library:
    """For one thread at a time."""

    def __init__(self) -> None:
        self._read: dict[Path, tuple[tuple[int, int], Style]] = {}

    def style(self, id_or_path: str) -> Style:
        """A style by its id, the user's before a shipped one, or by its file. Raises AuthorError.

        It is read again only if its file has changed since.
        """
        from ripieno.style.load import load_style  # 100 ms, in which an engine can begin

        path = find_style(id_or_path, user_styles_folder())
        mark = _mark(path)
        known = self._read.get(path)
        if known is not None and known[0] == mark:
            return known[1]
        style = load_style(path)
        if mark is not None:
            self._read[path] = mark, style
        return style

    def beside(self, id_or_path: str, by: int) -> Style:
        """The style so many places after one in the alphabet of ids, round and round.

        One that has a fault is passed over. Raises AuthorError if none is left.
        """
        ids = [path.stem for path in all_styles(user_styles_folder())]
        here = ids.index(id_or_path) if id_or_path in ids else -1 if by > 0 else 0
        for further in range(1, len(ids) + 1):
            try:
                return self.style(ids[(here + by * further) % len(ids)])
            except AuthorError:
                continue
        raise AuthorError("there is no other style without a fault")

    def has_changed(self, id_or_path: str) -> bool:
        """Whether the file of a style that was read is another now; one that vanished is not."""
        try:
            path = find_style(id_or_path, user_styles_folder())
        except AuthorError:
            return False
        known, mark = self._read.get(path), _mark(path)
        return known is not None and mark is not None and known[0] != mark

    def seen(self, id_or_path: str) -> None:
        """A changed file that is faulty: it has not changed any more until it does again."""
        path = find_style(id_or_path, user_styles_folder())
        known, mark = self._read.get(path), _mark(path)
        if known is not None and mark is not None:
            self._read[path] = mark, known[1]


def _mark(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size
