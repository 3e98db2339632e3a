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
from ripieno.style.yaml_file import FileError, all_faults, read_data, read_text
from ripieno.style.yaml_marks import Marked

if TYPE_CHECKING:
    from ripieno.configuration.document import ConfigurationForm

MAX_BYTES = 64 * 1024


class ConfigurationError(FileError):
    """A configuration file with `faults`, in the order of the file: one line each."""


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
    faults = all_faults(marked, wrong)
    if form is None or faults:
        raise ConfigurationError(path, faults)
    return _configuration(form)


def text_of(path: Path) -> str:
    """The text of a file with the line ends that it has, as `save` writes it.

    Raises AuthorError.
    """
    expected = "a configuration, which is small; shorten it"
    return read_text(path, MAX_BYTES, expected, ConfigurationError)


def marked_text(path: Path, text: str) -> Marked:
    """The text's data, where what can be read past is left in its faults.

    Raises ConfigurationError.
    """
    return read_data(path, text, ConfigurationError)


def _configuration(form: "ConfigurationForm") -> Configuration:
    return Configuration(
        input=form.input,
        output=form.output,
        sound=form.sound,
        style=form.style,
        tempo=form.tempo,
        meter=form.meter,
        swing=None if form.swing is None else swing_ratio(form.swing),
        key=form.key,
        hold=form.hold,
        reading=form.reading,
        split=form.split,
        transpose=form.transpose,
        span=SPANS[form.span],
        channel=channel_inside(form.channel),
        seed=form.seed,
        follow=form.follow,
        lean=form.lean,
        start=form.start,
        pickup=form.pickup,
        send_clock=form.send_clock,
        journals=Journals(form.journals.keep, form.journals.most * MIB),
        controls=tuple(control_from(each.press, each.do) for each in form.controls or ()),
    )
