"""A small YAML file that an author wrote: its text, its marked data, and its faults in order.

Styles and configurations come through here; which of the two an error is, its class says.
"""

from collections.abc import Iterable
from pathlib import Path

from ripieno.errors import AuthorError
from ripieno.style.yaml_marks import (
    BrokenError,
    Complaint,
    Fault,
    Marked,
    place_at,
    read_marked,
    shown,
    unprintable,
)

MAX_FAULTS = 100  # of one file


class FileError(AuthorError):
    """A file with `faults`, in their order in it: one line each. Raised as a subclass."""

    def __init__(self, path: Path, faults: Iterable[Fault]) -> None:
        self.path = path
        self.faults = tuple(sorted(set(faults))[:MAX_FAULTS])
        super().__init__("\n".join(f"{path}:{f.line}:{f.column}: {f.message}" for f in self.faults))


def read_text(path: Path, most_bytes: int, expected: str, error: type[FileError]) -> str:
    """The text of a file with the line ends that it has; `expected` says what it should be.

    Raises AuthorError for a file that cannot be read, `error` for one that is no such text.
    """
    try:
        with path.open("rb") as file:
            data = file.read(most_bytes + 1)
    except FileNotFoundError:
        raise AuthorError(f"{path}: there is no such file; check its name") from None
    except (OSError, ValueError) as fault:  # ValueError: a NUL in the name
        raise AuthorError(f"{shown(str(path))}: cannot be read ({fault})") from None
    if len(data) > most_bytes:
        found = f"the file has more than {most_bytes // 1024} KiB; expected {expected}"
        raise error(path, [Fault(1, 1, found)])
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as fault:
        before = data[: fault.start].decode("utf-8")
        found = f"found the byte 0x{data[fault.start]:02X}; expected UTF-8 text; save it as UTF-8"
        raise error(path, [Fault(*place_at(before, len(before)), found)]) from None


def read_data(path: Path, text: str, error: type[FileError]) -> Marked:
    """The text's data; what can be read past is left in its faults. Raises `error`."""
    bad = unprintable(text)
    if bad is not None:
        raise error(path, [bad])
    try:
        return read_marked(text)
    except BrokenError as broken:
        raise error(path, broken.faults) from None


def all_faults(marked: Marked, complaints: Iterable[Complaint]) -> list[Fault]:
    """Those of the data and the complaints about it, one at each place."""
    known = {(fault.line, fault.column) for fault in marked.faults}
    located = [marked.locate(complaint) for complaint in complaints]
    return marked.faults + [f for f in located if (f.line, f.column) not in known]
