"""The store of sessions: a journal of each, on disk within a second, never in anybody's way.

    begin ──► add, add, add ... ──► end         (as often as there are sessions)   ──► close

A thread of its own writes; the callers only put into a queue. What is wrong with the disk is a
sentence in `fault` and no exception: the session that was being kept is given up, and the next
one tries again.
"""

import os
import re
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from io import FileIO
from itertools import count
from pathlib import Path
from threading import Condition, Thread

from platformdirs import user_state_path

from ripieno.perform import journal
from ripieno.perform.journal_fields import Line
from ripieno.perform.offline import Happening, since
from ripieno.perform.settings import Settings
from ripieno.style.model import Style
from ripieno.units import NS_PER_S, ns_from_ms

MEBIBYTE = 1 << 20
LARGEST = 256 * MEBIBYTE  # of one file: a replay keeps all of it in memory
_MOST_WAITING = 100_000  # happenings; minutes of playing, for a disk that sleeps
_END_BYTES = 64  # what is kept free for the last line, which has some 40
_SYNC_NS = NS_PER_S  # what the machine's power may take with it when it goes
_CLOSE_S = 5.0  # a dead disk may keep the thread for ever

_NAME = re.compile(r"(\d{4}-\d\d-\d\dT\d\d-\d\d-\d\d)(?:-(\d{1,9}))?\.jsonl")
_TIME = "%Y-%m-%dT%H-%M-%S"


def default_folder() -> Path:
    """Where the sessions of this user are kept."""
    return user_state_path("ripieno", appauthor=False) / "sessions"


def newest(folder: Path) -> Path | None:
    """The journal of the newest session that is kept in a folder; None for none."""
    try:
        kept = _kept_in(folder)
    except OSError:
        return None
    return kept[-1][0] if kept else None


@dataclass(frozen=True, slots=True)
class _Begin:
    settings: Settings
    style: Style
    start_ns: int
    at: datetime


@dataclass(frozen=True, slots=True)
class _End:
    length_ns: int


_Item = _Begin | _End | tuple[Happening, ...] | None  # None: the store is closed


class Sessions:
    """Keeps one session after the other in `folder`. Any thread may call it; no call waits.

    All its files together stay within `most_bytes`: for a new one the oldest make room.
    """

    def __init__(
        self,
        folder: Path,
        most_bytes: int,
        wall_clock: Callable[[], datetime] = datetime.now,
        largest: int = LARGEST,
    ) -> None:
        """A session's name is the `wall_clock` at its beginning; no file is over `largest`."""
        self.dropped = 0  # happenings that found the queue full
        self._wall_clock = wall_clock
        self._changed = Condition()
        self._queue: deque[_Item] = deque()
        self._waiting = 0  # happenings in the queue
        self._writer = _Writer(folder, most_bytes, min(largest, most_bytes))
        self._thread = Thread(target=self._run, name="ripieno-sessions", daemon=True)
        self._thread.start()

    @property
    def path(self) -> Path | None:
        """The file of the session that is being kept; None while none is."""
        return self._writer.path

    @property
    def fault(self) -> str | None:
        """Why the newest session is not kept, or not to its end, in a sentence."""
        return self._writer.fault

    def begin(self, settings: Settings, style: Style, start_ns: int) -> None:
        """A session, whose times count from `start_ns`, a monotonic instant."""
        self._put(_Begin(settings, style, start_ns, self._wall_clock()))

    def add(self, happenings: Iterable[Happening]) -> None:
        """What has happened, in its order, at monotonic instants."""
        taken = tuple(happenings)
        if taken:
            self._put(taken)

    def end(self, length_ns: int) -> None:
        """The session is over, so long after its beginning."""
        self._put(_End(length_ns))

    def close(self) -> None:
        """Returns when all that was given is on the disk, or the disk does not take it."""
        self._put(None)
        self._thread.join(timeout=_CLOSE_S)

    def _put(self, item: _Item) -> None:
        size = len(item) if isinstance(item, tuple) else 0
        with self._changed:
            if self._waiting + size > _MOST_WAITING:
                self.dropped += size
                return
            self._waiting += size
            self._queue.append(item)
            self._changed.notify()

    def _run(self) -> None:
        while True:
            with self._changed:
                patience = _SYNC_NS / NS_PER_S if self._writer.is_owing else None
                self._changed.wait_for(lambda: self._queue, timeout=patience)
                items = list(self._queue)
                self._queue.clear()
                self._waiting = 0
            for item in _together(items):
                self._writer.take(item)
            if None in items:
                return
            self._writer.settle(time.monotonic_ns())


class _Writer:
    """The thread's side: the file of the session, and the older ones beside it."""

    def __init__(self, folder: Path, most_bytes: int, largest: int) -> None:
        self.fault: str | None = None
        self._folder = folder
        self._most_bytes = most_bytes
        self._largest = largest
        self._file: _File | None = None
        self._older: deque[tuple[Path, int]] = deque()  # with their sizes, the oldest first
        self._older_bytes = 0
        self._synced_ns = 0

    @property
    def path(self) -> Path | None:
        file = self._file
        return None if file is None else file.path

    @property
    def is_owing(self) -> bool:
        """Whether something written may not have come to the disk itself."""
        return self._file is not None and self._file.is_owing

    def take(self, item: _Item) -> None:
        try:
            match item:
                case _Begin():
                    self._begin(item)
                case tuple() if self._file is not None:
                    self._add(self._file, item)
                case _End() if self._file is not None:
                    self._file.end(item.length_ns)
                    self._leave()
                case None:
                    self._leave()
        except OSError as error:
            self._give_up(error)

    def settle(self, now_ns: int) -> None:
        """Once a second: what is written comes to the disk, and its file is looked after."""
        if self._file is None or not self.is_owing or now_ns - self._synced_ns < _SYNC_NS:
            return
        try:
            self._file.sync()
            self._synced_ns = now_ns
        except OSError as error:
            self._give_up(error)

    def _begin(self, begin: _Begin) -> None:
        self._leave()
        self.fault = None
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._older = deque(_kept_in(self._folder))
        self._older_bytes = sum(size for _, size in self._older)
        if self._older:
            with suppress(OSError):  # it stays as it is, and this session is kept
                _drop_half_line(self._older[-1][0])
        self._file = _File.opened(self._folder, begin, self._largest)
        self._file.begin(begin)
        self._make_room(self._file)

    def _add(self, file: "_File", happenings: tuple[Happening, ...]) -> None:
        full = file.add(happenings)
        self._make_room(file)
        if full is not None:
            self._leave()
            self.fault = f"the rest of this session is not kept: {file.path} {full}"

    def _make_room(self, file: "_File") -> None:
        """The oldest go until all are within the bound; the session's own never goes."""
        while self._older and file.size + self._older_bytes > self._most_bytes:
            path, size = self._older.popleft()
            self._older_bytes -= size
            path.unlink(missing_ok=True)

    def _leave(self) -> None:
        file, self._file = self._file, None
        if file is not None:
            file.close()

    def _give_up(self, error: OSError) -> None:
        """No more of this session: a journal with a gap would play again wrongly."""
        file = self._file
        with suppress(OSError):
            self._leave()
        if file is not None and file.size == 0:
            with suppress(OSError):
                file.path.unlink()
        where = self._folder if file is None else file.path
        self.fault = f"this session is not kept: {where}: {error.strerror}"


class _File:
    """A session's file, always of whole lines. Any method may raise OSError."""

    def __init__(self, path: Path, raw: FileIO, begin: _Begin, largest: int) -> None:
        self.path = path
        self.size = 0
        self.is_owing = False
        self._raw = raw
        self._start_ns = begin.start_ns
        self._key = begin.settings.key
        self._most = largest - _END_BYTES

    @classmethod
    def opened(cls, folder: Path, begin: _Begin, largest: int) -> "_File":
        """A new one. Where a name is taken, a number makes the next."""
        stem = begin.at.strftime(_TIME)
        for number in count(1):
            path = folder / (f"{stem}.jsonl" if number == 1 else f"{stem}-{number}.jsonl")
            with suppress(FileExistsError):
                raw = FileIO(str(path), "x", opener=_private)
                break
        return cls(path, raw, begin, largest)

    def begin(self, begin: _Begin) -> None:
        self._write(_line(journal.header(begin.settings, begin.style)))

    def add(self, happenings: Iterable[Happening]) -> str | None:
        """None, or why it has been ended: what `path` has done."""
        lines: list[bytes] = []
        room = self._most - self.size
        full = None
        for happening in filter(journal.is_kept, happenings):
            line, self._key = journal.line(since(self._start_ns, happening), self._key)
            lines.append(_line(line))
            room -= len(lines[-1])
            full = _full(line, room)
            if full is not None:
                lines[-1] = _line({"ms": min(_ms(line), journal.LONGEST_MS), "kind": "end"})
                break
        self._write(b"".join(lines))
        return full

    def end(self, length_ns: int) -> None:
        self._write(_line(journal.end(min(length_ns, _LONGEST_NS))))

    def sync(self) -> None:
        """All that is written is on the disk, in a file that is still there."""
        os.fsync(self._raw.fileno())
        self.is_owing = False
        there = os.stat(self.path)
        own = os.fstat(self._raw.fileno())
        if (there.st_dev, there.st_ino) != (own.st_dev, own.st_ino):
            raise FileNotFoundError(0, "another file stands in its place")

    def close(self) -> None:
        try:
            if self.is_owing:
                self.sync()
        finally:
            self._raw.close()

    def _write(self, lines: bytes) -> None:
        """All of it or, when the disk takes less, none: half a line could not be read back."""
        left = memoryview(lines)
        try:
            while left:
                self.is_owing = True
                left = left[self._raw.write(left) or 0 :]
        except OSError:
            with suppress(OSError):
                self._raw.truncate(self.size)
            raise
        self.size += len(lines)


_LONGEST_NS = ns_from_ms(journal.LONGEST_MS)


def _together(items: Iterable[_Item]) -> Iterator[_Item]:
    """The same, with what happened in several calls after each other to be written in one."""
    happenings: list[Happening] = []
    for item in items:
        if isinstance(item, tuple):
            happenings += item
            continue
        if happenings:
            yield tuple(happenings)
            happenings = []
        yield item
    if happenings:
        yield tuple(happenings)


def _line(line: Line) -> bytes:
    return journal.dump(line).encode("ascii")


def _ms(line: Line) -> float:
    ms = line["ms"]
    assert isinstance(ms, float)  # as every line but the header has
    return ms


def _full(line: Line, room: int) -> str | None:
    """Why a line cannot be in a file with so much room less than none; None if it can."""
    if room < 0:
        return "has come to the most bytes that a file may have"
    if _ms(line) > journal.LONGEST_MS:
        return "has come to the most hours that a journal may last"
    return None


def _private(path: str, flags: int) -> int:
    """Opened for its user alone."""
    return os.open(path, flags, 0o600)


def _kept_in(folder: Path) -> list[tuple[Path, int]]:
    """The store's own files with their sizes, the oldest first; others are not its to delete."""
    found = []
    with os.scandir(folder) as entries:
        for entry in entries:
            name = _NAME.fullmatch(entry.name)
            if name is not None and entry.is_file(follow_symlinks=False):
                age = name[1], int(name[2] or 1)
                found.append((age, Path(entry.path), entry.stat(follow_symlinks=False).st_size))
    return [(path, size) for _, path, size in sorted(found)]


def _drop_half_line(path: Path) -> None:
    """Without the half line that a loss of power may have left, its journal can be read."""
    with path.open("rb+") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - journal.MAX_LINE))
        tail = file.read()
        if not tail.endswith(b"\n"):
            file.truncate(size - len(tail) + tail.rfind(b"\n") + 1)
