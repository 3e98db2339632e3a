"""The door for configuration files: a frozen configuration, or every fault with its place."""

from pathlib import Path
from typing import TYPE_CHECKING

from ripieno.configuration.meaning import complaints, control_from
from ripieno.configuration.model import (
    MIB,
    SPANS,
    Configuration,
    Journals,
    channel_inside,
    swing_ratio,
)
from ripieno.errors import AuthorError
from ripieno.style.yaml_marks import (
    BrokenError,
    Fault,
    Marked,
    place_at,
    read_marked,
    shown,
    unprintable,
)

if TYPE_CHECKING:
    from ripieno.configuration.document import ConfigurationForm

MAX_BYTES = 64 * 1024
MAX_FAULTS = 100  # of one file


class ConfigurationError(AuthorError):
    """A configuration file with `faults`, in the order of the file: one line each."""

    def __init__(self, path: Path, faults: list[Fault]) -> None:
        self.path = path
        self.faults = tuple(sorted(set(faults))[:MAX_FAULTS])
        super().__init__("\n".join(f"{path}:{f.line}:{f.column}: {f.message}" for f in self.faults))


def load_configuration(path: Path) -> Configuration:
    """Raises ConfigurationError with all faults of the file, AuthorError if it is unreadable."""
    return configuration_from(path, text_of(path))


def configuration_from(path: Path, text: str) -> Configuration:
    """The configuration that a text describes; `path` is its file's, for messages.

    Raises ConfigurationError.
    """
    from ripieno.configuration.document import ConfigurationForm  # pydantic: 100 ms
    from ripieno.style.shape import read_form

    marked = marked_text(path, text)
    form, wrong = read_form(marked.data, ConfigurationForm)
    formless = {complaint.path for complaint in wrong}
    wrong += [c for c in complaints(marked.data) if c.path not in formless]
    known = {(fault.line, fault.column) for fault in marked.faults}
    located = [marked.locate(complaint) for complaint in wrong]
    faults = marked.faults + [f for f in located if (f.line, f.column) not in known]
    if form is None or faults:
        raise ConfigurationError(path, faults)
    return _configuration(form)


def text_of(path: Path) -> str:
    """The text of a file with the line ends that it has, as `save` writes it.

    Raises AuthorError.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise AuthorError(f"{path}: there is no such file; check its name") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise AuthorError(f"{shown(str(path))}: cannot be read ({error})") from None
    if len(data) > MAX_BYTES:
        found = f"the file has more than {MAX_BYTES // 1024} KiB; expected a configuration"
        raise ConfigurationError(path, [Fault(1, 1, f"{found}, which is small; shorten it")])
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8")
        found = f"found the byte 0x{data[error.start]:02X}; expected UTF-8 text; save it as UTF-8"
        raise ConfigurationError(path, [Fault(*place_at(before, len(before)), found)]) from None


def marked_text(path: Path, text: str) -> Marked:
    """The text's data, where what can be read past is left in its faults.

    Raises ConfigurationError.
    """
    bad = unprintable(text)
    if bad is not None:
        raise ConfigurationError(path, [bad])
    try:
        return read_marked(text)
    except BrokenError as error:
        raise ConfigurationError(path, error.faults) from None


def _configuration(form: "ConfigurationForm") -> Configuration:
    return Configuration(
        input=form.input,
        output=form.output,
        sound=form.sound,
        style=form.style,
        tempo=form.tempo,
        meter=form.meter,
        swing=swing_ratio(form.swing),
        key=form.key,
        hold=form.hold,
        reading=form.reading,
        split=form.split,
        transpose=form.transpose,
        span=SPANS[form.span],
        channel=channel_inside(form.channel),
        seed=form.seed,
        journals=Journals(form.journals.keep, form.journals.most * MIB),
        controls=tuple(control_from(each.press, each.do) for each in form.controls or ()),
    )
