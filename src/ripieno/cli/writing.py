"""Writing what was played: MIDI files, sound files, journals."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TextIO

from ripieno.errors import MachineError, UsageError
from ripieno.midi import file
from ripieno.midi.synth import render_wav
from ripieno.perform import journal
from ripieno.perform.events import Send
from ripieno.perform.journal_fields import Line
from ripieno.perform.offline import Happening
from ripieno.perform.settings import Settings
from ripieno.perform.time_map import TimeMap
from ripieno.style.model import Style


def refuse_other_endings(path: Path) -> None:
    """Raises UsageError for a result that is neither a MIDI nor a sound file."""
    if path.suffix.lower() not in (".mid", ".midi", ".wav"):
        raise UsageError(f"'{path}': the ending says what to write: give a .mid or a .wav file")


def write_result(path: Path, sends: Iterable[Send], time: TimeMap, length_ns: int) -> None:
    """Write what was sent as a MIDI file, or as sound if the name ends in .wav.

    Raises MachineError.
    """
    if path.suffix.lower() != ".wav":
        file.write(path, sends, time, length_ns)
        return
    with TemporaryDirectory() as folder:
        midi = Path(folder) / "played.mid"
        file.write(midi, sends, time, length_ns)
        render_wav(midi, path)


class Journal:
    """A journal being written: `add` what happens, then `close`."""

    def __init__(
        self, stream: TextIO, chosen: Settings, style: Style, time: TimeMap | None
    ) -> None:
        self.is_kept = True  # False from the first write that was refused
        self._stream = stream
        self._key = chosen.key
        self._write(journal.header(chosen, style, time))

    def add(self, happenings: Iterable[Happening]) -> None:
        for happening in filter(journal.is_kept, happenings):
            line, self._key = journal.line(happening, self._key)
            self._write(line)

    def close(self, end_ns: int) -> None:
        self._write(journal.end(end_ns))

    def _write(self, line: Line) -> None:
        try:
            with refused(self._stream.name):
                self._stream.write(journal.dump(line))
        except MachineError:
            self.is_kept = False
            raise


@contextmanager
def journal_file(
    path: Path | None, chosen: Settings, style: Style, time: TimeMap | None = None
) -> Iterator[Journal | None]:
    """The journal at `path`, each line in the file as it comes; None without a path.

    `time` is that of the file that is played. Raises MachineError.
    """
    if path is None:
        yield None
        return
    with refused(str(path)):
        stream = path.open("w", encoding="utf-8", newline="\n", buffering=1)
    journal = Journal(stream, chosen, style, time)
    try:
        yield journal
    finally:
        with refused(str(path)) if journal.is_kept else suppress(OSError):
            stream.close()


@contextmanager
def refused(path: str) -> Iterator[None]:
    """What the system says against writing, as the refusal of this file."""
    try:
        yield
    except OSError as error:
        raise MachineError(f"cannot write {path}: {error.strerror}") from error
