"""Sessions kept on a disk, and on disks that are full, gone or not to be written."""

import json
import os
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from rig import A4, C4, C5, E4, G4, Rig
from ripieno.cli.entry import main
from ripieno.host import sessions as module
from ripieno.host.sessions import MEBIBYTE, Sessions
from ripieno.perform import journal
from ripieno.perform.events import Input, Send
from ripieno.perform.offline import Happening, since
from ripieno.perform.settings import Settings
from ripieno.units import NS_PER_S, ns_from_ms

PATIENCE_S = 30
START_NS = 10**15 + 7  # as a monotonic clock may stand
NOON = datetime(2024, 5, 6, 12, 0, 0)
STYLE = Rig("waltz").style
HEADER = len(journal.dump(journal.header(Settings(), STYLE)))
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="needs Unix's files")


class Clock:
    """Stands still, or goes on by so much each time it is looked at."""

    def __init__(self, *, step_s: float = 0) -> None:
        self._now = NOON
        self._step = timedelta(seconds=step_s)

    def __call__(self) -> datetime:
        now = self._now
        self._now += self._step
        return now


@contextmanager
def store(folder: Path, most: int = 500 * MEBIBYTE, **more: object) -> Iterator[Sessions]:
    with closing(Sessions(folder, most, **{"wall_clock": Clock()} | more)) as sessions:
        yield sessions


def played(until_ms: float = 2000, at_ns: int = START_NS) -> list[Happening]:
    """Two chords, begun at an instant."""
    rig = Rig("waltz", bpm=92)
    rig.chord(0, C4, E4, G4, until_ms=800)
    rig.chord(1234.567891, A4, C5, E4, until_ms=1700)
    return [since(-at_ns, happening) for happening in rig.happenings(until_ms)]


def keep(sessions: Sessions, happenings: list[Happening]) -> None:
    """One whole session."""
    sessions.begin(Settings(bpm=92), STYLE, START_NS)
    for first in range(0, len(happenings), 10):
        sessions.add(iter(happenings[first : first + 10]))
    sessions.end(ns_from_ms(2000))


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def lines(path: Path) -> list[dict]:
    return [json.loads(line) for line in path.read_text().splitlines()]


def wait_for(sessions: Sessions, is_so: object) -> None:
    """Until the store's thread has come so far."""
    give_up_ns = time.monotonic_ns() + PATIENCE_S * NS_PER_S
    while not is_so():
        assert time.monotonic_ns() < give_up_ns, sessions.fault
        os.sched_yield()


def test_a_session_is_the_journal_of_what_happened_in_it(tmp_path: Path) -> None:
    with store(tmp_path) as sessions:
        keep(sessions, played())
    (path,) = tmp_path.iterdir()
    expected = [journal.header(Settings(bpm=92), STYLE)]
    key = None
    for happening in played(at_ns=0):
        line, key = journal.line(happening, key)
        expected.append(line)
    assert lines(path) == [*expected, journal.end(ns_from_ms(2000))]
    assert (sessions.fault, sessions.path, sessions.dropped) == (None, None, 0)


def test_replay_plays_a_session_again(tmp_path: Path) -> None:
    with store(tmp_path) as sessions:
        keep(sessions, played())
    (path,) = tmp_path.iterdir()
    again = tmp_path / "again.jsonl"
    words = ["replay", path, "-o", tmp_path / "a.mid", "--journal", again]
    assert main([str(word) for word in words]) == 0
    assert again.read_bytes() == path.read_bytes()


def test_a_session_is_named_by_the_clock_and_a_taken_name_gets_a_number(tmp_path: Path) -> None:
    for _ in range(3):
        with store(tmp_path) as sessions:
            keep(sessions, played())
    stem = "2024-05-06T12-00-00"
    assert names(tmp_path) == [f"{stem}-2.jsonl", f"{stem}-3.jsonl", f"{stem}.jsonl"]


@POSIX
def test_nobody_else_may_read_a_session(tmp_path: Path) -> None:
    folder = tmp_path / "state" / "sessions"
    before = os.umask(0)
    try:
        with store(folder) as sessions:
            keep(sessions, played())
    finally:
        os.umask(before)
    (path,) = folder.iterdir()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_has_happened_is_in_the_file_before_the_session_ends(tmp_path: Path) -> None:
    with store(tmp_path) as sessions:
        sessions.begin(Settings(), STYLE, START_NS)
        sessions.add(played())
        wait_for(sessions, lambda: sessions.path is not None)
        path = sessions.path
        assert path is not None
        wait_for(sessions, lambda: len(path.read_bytes().splitlines()) == len(played()) + 1)
    assert lines(path)[-1]["kind"] != "end"
    journal.read("j", path.read_text().splitlines())


KILLED = """
import os, sys
from pathlib import Path
from test_sessions import *
sessions = Sessions(Path(sys.argv[1]), MEBIBYTE)
sessions.begin(Settings(), STYLE, START_NS)
sessions.add(played())
wait_for(sessions, lambda: sessions.path)
wait_for(sessions, lambda: len(sessions.path.read_bytes().splitlines()) == 1 + len(played()))
os.kill(os.getpid(), 9)
"""


def in_a_process(program: str, *words: object) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join(sys.path)
    return subprocess.run(
        [sys.executable, "-c", program, *map(str, words)], env=os.environ | {"PYTHONPATH": path},
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip


@POSIX
def test_a_session_that_was_killed_plays_again(tmp_path: Path) -> None:
    result = in_a_process(KILLED, tmp_path)
    assert result.returncode == -signal.SIGKILL, result.stderr
    (path,) = tmp_path.iterdir()
    session = journal.read("j", path.read_text().splitlines())
    taken = [happening for happening in played(at_ns=0) if type(happening) in Input.__args__]
    assert list(session.events) == taken


def test_half_a_line_that_a_loss_of_power_left_goes_when_the_next_begins(tmp_path: Path) -> None:
    with store(tmp_path, wall_clock=Clock(step_s=1)) as sessions:
        keep(sessions, played())
        sessions.close()
        (path,) = tmp_path.iterdir()
        whole = path.read_bytes()
        path.write_bytes(whole[:-20])
    with store(tmp_path, wall_clock=lambda: NOON + timedelta(hours=1)) as sessions:
        keep(sessions, played())
    assert path.read_bytes() == b"".join(whole.splitlines(keepends=True)[:-1])


def test_several_sessions_each_have_their_file(tmp_path: Path) -> None:
    with store(tmp_path, wall_clock=Clock(step_s=60)) as sessions:
        for _ in range(3):
            keep(sessions, played())
    assert len({path.read_bytes() for path in tmp_path.iterdir()}) == 1
    assert names(tmp_path) == [f"2024-05-06T12-0{minute}-00.jsonl" for minute in range(3)]


def test_what_happens_outside_of_a_session_is_nobodys(tmp_path: Path) -> None:
    with store(tmp_path) as sessions:
        sessions.add(played())
        sessions.end(5)
        keep(sessions, [])
        sessions.add(played())
    (path,) = tmp_path.iterdir()
    assert [line["kind"] for line in lines(path)] == ["ripieno-journal", "end"]


def size_of_one(folder: Path) -> int:
    with store(folder) as sessions:
        keep(sessions, played())
    (path,) = folder.iterdir()
    return path.stat().st_size


def test_the_oldest_sessions_go_so_that_all_stay_within_the_bound(tmp_path: Path) -> None:
    size = size_of_one(tmp_path / "one")
    folder = tmp_path / "sessions"
    with store(folder, 3 * size + 10, wall_clock=Clock(step_s=60)) as sessions:
        for _ in range(7):
            keep(sessions, played())
    assert names(folder) == [f"2024-05-06T12-0{minute}-00.jsonl" for minute in (4, 5, 6)]


def test_of_one_second_the_lower_number_is_older(tmp_path: Path) -> None:
    size = size_of_one(tmp_path / "one")
    folder = tmp_path / "sessions"
    folder.mkdir()
    (folder / "2024-05-06T12-00-00.jsonl").write_bytes(b"a" * size)
    (folder / "2024-05-06T12-00-00-9.jsonl").write_bytes(b"b" * size)
    (folder / "2024-05-06T12-00-00-10.jsonl").write_bytes(b"c" * size)
    with store(folder, 2 * size + 10, wall_clock=lambda: NOON + timedelta(1)) as sessions:
        keep(sessions, played())
    assert names(folder) == ["2024-05-06T12-00-00-10.jsonl", "2024-05-07T12-00-00.jsonl"]


def test_only_the_stores_own_files_are_counted_and_deleted(tmp_path: Path) -> None:
    others = ["kept.jsonl", "2024-05-06T12-00-00.mid", "2024-05-06T12-00-00-x.jsonl"]
    for name in others:
        (tmp_path / name).write_bytes(b"x" * MEBIBYTE)
    (tmp_path / "2020-01-01T00-00-00.jsonl").mkdir()
    with store(tmp_path, MEBIBYTE) as sessions:
        keep(sessions, played())
    assert set(others) < set(names(tmp_path))
    assert sessions.fault is None
    assert len(names(tmp_path)) == 5


@pytest.mark.parametrize("bound", [{"most": 20_000}, {"largest": 20_000}], ids=str)
def test_a_file_is_ended_at_its_size_and_the_next_session_has_a_new_one(
    tmp_path: Path, bound: dict
) -> None:
    long = [Send(START_NS + n * 1000, bytes((0x90, n % 128, 64))) for n in range(1000)]
    with store(tmp_path, **bound, wall_clock=Clock(step_s=1)) as sessions:
        keep(sessions, long)
        wait_for(sessions, lambda: sessions.fault)
        assert sessions.fault is not None
        assert "has come to the most bytes" in sessions.fault
        assert sessions.path is None
        (path,) = tmp_path.iterdir()
        assert 19_800 < path.stat().st_size <= 20_000
        last = lines(path)[-2:]
        assert (last[0]["kind"], last[1]["kind"]) == ("note", "end")
        assert last[0]["ms"] < last[1]["ms"]
        keep(sessions, played())
    assert sessions.fault is None
    newest = tmp_path / "2024-05-06T12-00-01.jsonl"
    assert lines(newest)[-1]["kind"] == "end"
    journal.read("j", path.read_text().splitlines() if path.exists() else newest.open())


def test_a_file_is_ended_before_it_lasts_longer_than_replay_reads(tmp_path: Path) -> None:
    day_ns = ns_from_ms(journal.LONGEST_MS)
    with store(tmp_path) as sessions:
        sessions.begin(Settings(), STYLE, START_NS)
        sessions.add([Send(START_NS + day_ns + n, bytes((0x90, 60, 64))) for n in range(-1, 5)])
        wait_for(sessions, lambda: sessions.fault)
        assert sessions.fault is not None
        assert "most hours" in sessions.fault
        sessions.end(2 * day_ns)
    (path,) = tmp_path.iterdir()
    assert journal.read("j", path.read_text().splitlines()).end_ns == day_ns
    assert len(lines(path)) == 1 + 2 + 1


def test_a_session_of_more_than_a_day_in_which_nothing_happened_can_be_read(tmp_path) -> None:
    day_ns = ns_from_ms(journal.LONGEST_MS)
    with store(tmp_path) as sessions:
        sessions.begin(Settings(), STYLE, START_NS)
        sessions.end(3 * day_ns)
    (path,) = tmp_path.iterdir()
    assert journal.read("j", path.read_text().splitlines()).end_ns == day_ns


def test_what_the_disk_keeps_up_with_is_never_dropped(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(module, "_MOST_WAITING", 100)
    with store(tmp_path) as sessions:
        sessions.begin(Settings(), STYLE, START_NS)
        wait_for(sessions, lambda: sessions.path)
        assert sessions.path is not None
        for turn in range(1, 6):
            sessions.add(Send(START_NS, bytes((0x90, n, 64))) for n in range(100))
            expected = 1 + 100 * turn
            wait_for(sessions, lambda: len(sessions.path.read_bytes().splitlines()) == expected)  # noqa: B023
    assert sessions.dropped == 0


FULL = """
import json, resource, sys
from pathlib import Path
from test_sessions import *
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
with store(Path(sys.argv[1]), wall_clock=Clock(step_s=1)) as sessions:
    sessions.begin(Settings(), STYLE, START_NS)
    for turn in range(50):
        sessions.add(played(at_ns=START_NS + turn * ns_from_ms(3000)))
    wait_for(sessions, lambda: sessions.fault)
    print(sessions.fault)
    print([path.read_bytes()[-1:] for path in Path(sys.argv[1]).iterdir()])
    sessions.end(ns_from_ms(2000))
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    keep(sessions, played())
print(sessions.fault, sessions.path)
"""


@POSIX
@pytest.mark.parametrize("room", [20_000, 10], ids=["for some lines", "not even for a header"])
def test_a_full_disk_ends_the_session_and_the_next_is_kept_again(tmp_path: Path, room: int) -> None:
    # A size above which the system takes no more: the write that reaches it is cut short.
    result = in_a_process(FULL, tmp_path, room)
    assert result.stderr == ""
    refused, left, afterwards = result.stdout.splitlines()
    assert left == ("[b'\\n']" if room > HEADER else "[]")  # no half line, and no empty file
    assert refused.startswith(f"this session is not kept: {tmp_path}/2024-05-06T12-00-00.jsonl: ")
    assert refused.endswith("File too large")
    assert afterwards == "None None"
    files = sorted(tmp_path.iterdir())
    assert len(files) == (2 if room > HEADER else 1)
    for path in files:
        journal.read("j", path.read_text().splitlines())
    assert lines(files[-1])[-1]["kind"] == "end"


def a_file_in_its_place(folder: Path) -> None:
    folder.write_text("")


def a_file_above_it(folder: Path) -> None:
    folder.parent.rmdir()
    folder.parent.write_text("")


@POSIX
@pytest.mark.parametrize("spoil", [a_file_in_its_place, a_file_above_it])
def test_a_folder_that_cannot_be_is_said_and_tried_again(tmp_path: Path, spoil) -> None:
    folder = tmp_path / "state" / "sessions"
    folder.parent.mkdir()
    spoil(folder)
    with store(folder) as sessions:
        keep(sessions, played())
        wait_for(sessions, lambda: sessions.fault)
        assert sessions.fault is not None
        assert sessions.fault.startswith(f"this session is not kept: {folder}: ")
        (folder if folder.is_file() else folder.parent).unlink()
        keep(sessions, played())
    assert sessions.fault is None
    assert len(names(folder)) == 1


@POSIX
@pytest.mark.parametrize("again", [False, True], ids=["gone", "replaced"])
def test_a_file_that_is_taken_away_is_noticed(tmp_path: Path, monkeypatch, again: bool) -> None:
    monkeypatch.setattr(module, "_SYNC_NS", 0)  # looked after at each turn, not once a second
    with store(tmp_path) as sessions:
        sessions.begin(Settings(), STYLE, START_NS)
        wait_for(sessions, lambda: sessions.path)
        assert sessions.path is not None
        sessions.path.unlink()
        if again:
            sessions.path.write_text("mine")
        sessions.add(played())
        wait_for(sessions, lambda: sessions.fault)
        assert sessions.path is None
        keep(sessions, played())
    assert sessions.fault is None


@POSIX
def test_a_disk_that_never_answers_delays_nobody_and_what_it_misses_is_counted(
    tmp_path: Path, monkeypatch
) -> None:
    # To open a pipe for writing takes until somebody opens it for reading.
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    monkeypatch.setattr(module, "_private", lambda *_: os.open(pipe, os.O_WRONLY))
    monkeypatch.setattr(module, "_MOST_WAITING", 5_000)
    monkeypatch.setattr(module, "_CLOSE_S", 0.01)
    sessions = Sessions(tmp_path / "sessions", MEBIBYTE)
    sessions.begin(Settings(), STYLE, START_NS)
    happenings = played()
    for _ in range(500):
        sessions.add(happenings)
    # All that fits into the queue, and what the thread had taken out before it had to wait.
    kept = 500 * len(happenings) - sessions.dropped
    assert 5_000 - len(happenings) < kept <= 2 * 5_000
    sessions.close()
    assert sessions._thread.is_alive()  # it does wait, and nobody for it
    os.close(os.open(pipe, os.O_RDONLY))
    sessions._thread.join(PATIENCE_S)
    assert sessions.fault is not None


def test_sessions_are_in_the_folder_for_states(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    if sys.platform == "linux":
        assert module.default_folder() == tmp_path / "ripieno" / "sessions"
    assert module.default_folder().name == "sessions"
