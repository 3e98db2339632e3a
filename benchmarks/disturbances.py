"""Whether what a player does besides playing delays a note: python benchmarks/disturbances.py [N]

A host and its engine play a figure in short steps on virtual ports of whatever MIDI system there
is, in memory if there is none, with files in a folder of their own. Over the control socket come,
N times (20 by default, some twelve seconds each): another style, another tempo, back to both, a
style file that is written anew so that the host reads it again, the dashboard attached on a pseudo
terminal (120 by 40), and left.

A step's error is the instant at which the port had taken its first note, minus the instant at
which it was due. A step belongs to a disturbance if it is due from its beginning until half a
second after its end: the command is answered, the style that was read again has reached the
engine, the dashboard is connected, the dashboard's process is gone. `attached` are those while
the dashboard shows what is played; `undisturbed` all others.

Columns: steps; the median and the 99th percentile of the error in microseconds, and what each is
above that of the undisturbed steps; the worst; and how many steps in a hundred are more than
0.5 ms above the median of the undisturbed.
"""

import os
import shutil
import subprocess
import sys
import termios
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Thread

from ripieno.engine.loop import Timed
from ripieno.host.control import ControlServer
from ripieno.host.host import Host
from ripieno.host.library import Library
from ripieno.host.wishes import Wishes
from ripieno.latency.distribution import PERCENTILES, percentile
from ripieno.link.client import Client
from ripieno.link.endpoint import VARIABLE, own_endpoint
from ripieno.midi.systems import choose
from ripieno.perform.events import Send, SetStyle
from ripieno.perform.message import NOTE_ON
from ripieno.style.shipped import presets_folder, user_styles_folder
from ripieno.units import NS_PER_MS, NS_PER_S

CYCLES = 20
OWN = "own"  # the style that is written anew: a copy of the first
STYLES = ("rippling-sixteenths", "repeated-triplets", "driving-eighths", "parallel-arpeggio")
BPM, OTHER_BPM = 120, 126
AFTER_NS = NS_PER_S // 2
REST_S = 1.3  # after each disturbance
SHOWN_S = 2.0  # for which the dashboard stays
PATIENCE_S = 30.0
LATE_NS = NS_PER_MS // 2
UNDISTURBED, ATTACHED = "undisturbed", "attached"
KINDS = (UNDISTURBED, "style", "tempo", "reload", "attaching", ATTACHED, "leaving")
TERMINAL = 40, 120


@dataclass(frozen=True, slots=True)
class Span:
    """From a disturbance's beginning to half a second after its end; nanoseconds."""

    kind: str
    begin_ns: int
    end_ns: int


@dataclass(slots=True)
class Listener:
    """The engine's record: (due, error) of the first note of each step."""

    steps: list[tuple[int, int]] = field(default_factory=list)
    new_style: Event = field(default_factory=Event)
    inputs: set[int] = field(default_factory=set)  # instants; what is due then answers them

    def hear(self, timed: Timed) -> None:
        happening = timed.happening
        if not isinstance(happening, Send):
            self.inputs.add(happening.at_ns)
            if isinstance(happening, SetStyle):
                self.new_style.set()
        elif happening.data[0] & 0xF0 == NOTE_ON and happening.due_ns not in self.inputs:
            due_ns = happening.due_ns
            if not self.steps or self.steps[-1][0] != due_ns:
                self.steps.append((due_ns, timed.done_ns - due_ns))


class Player:
    """Disturbs, over the control socket, and keeps what and when."""

    def __init__(self, server: ControlServer, listener: Listener) -> None:
        self.spans: list[Span] = []
        self._server, self._listener = server, listener

    def play(self, cycles: int) -> None:
        with Client(own_endpoint()) as client:
            client.tell(["degree", "1"])
            time.sleep(2 * REST_S)
            for number in range(cycles):
                for kind, *words in (
                    ("style", "style", STYLES[number % len(STYLES)]),
                    ("tempo", "tempo", str(OTHER_BPM)),
                    ("style", "style", OWN),
                    ("tempo", "tempo", str(BPM)),
                ):
                    with self._span(kind):
                        client.tell(words)
                    time.sleep(REST_S)
                self._reload()
                self._attach()

    def _reload(self) -> None:
        """The host looks at its files once a second."""
        file = user_styles_folder() / f"{OWN}.yaml"
        self._listener.new_style.clear()
        with self._span("reload"):
            file.write_text(file.read_text(encoding="utf-8") + "# again\n", encoding="utf-8")
            assert self._listener.new_style.wait(PATIENCE_S), "the style was not read again"
        time.sleep(REST_S)

    def _attach(self) -> None:
        with terminal() as end:
            clients = self._server.counts()["clients"]
            with self._span("attaching"):
                command = [sys.executable, "-m", "ripieno", "dashboard"]
                screen = subprocess.Popen(
                    command, stdin=end, stdout=end, stderr=end, start_new_session=True
                )
                give_up = time.monotonic() + PATIENCE_S
                while self._server.counts()["clients"] == clients:
                    assert time.monotonic() < give_up, "no dashboard has attached"
                    time.sleep(0.01)
            with self._span(ATTACHED):
                time.sleep(SHOWN_S)
            with self._span("leaving"):
                screen.terminate()
                screen.wait(PATIENCE_S)
        time.sleep(REST_S)

    @contextmanager
    def _span(self, kind: str) -> Iterator[None]:
        begin_ns = time.monotonic_ns()
        yield
        self.spans.append(Span(kind, begin_ns, time.monotonic_ns() + AFTER_NS))


@contextmanager
def terminal() -> Iterator[int]:
    """One end of a pseudo terminal, whose other end is read and thrown away."""
    ours, theirs = os.openpty()
    termios.tcsetwinsize(theirs, TERMINAL)
    thread = Thread(target=throw_away, args=(ours,), daemon=True)
    thread.start()
    try:
        yield theirs
    finally:
        os.close(theirs)
        thread.join()
        os.close(ours)


def throw_away(end: int) -> None:
    with suppress(OSError):  # how Linux says that nobody has the other end any more
        while os.read(end, 65536):
            pass


def kind_of(due_ns: int, spans: list[Span]) -> str:
    """The latest span that a step is in: each ends the one before."""
    inside = [span.kind for span in spans if span.begin_ns <= due_ns < span.end_ns]
    return inside[-1] if inside else UNDISTURBED


def report(steps: list[tuple[int, int]], spans: list[Span]) -> None:
    errors: defaultdict[str, list[int]] = defaultdict(list)
    for due_ns, error_ns in steps:
        if spans[0].begin_ns - NS_PER_S <= due_ns <= spans[-1].end_ns:
            errors[kind_of(due_ns, spans)].append(error_ns)
    plain = sorted(errors[UNDISTURBED])
    median_ns = percentile(plain, PERCENTILES["p50"]) or 0
    print(
        f"{'':12}{'steps':>7}{'p50':>8}{'above':>8}{'p99':>8}{'above':>8}{'worst':>8}{'late %':>8}"
    )
    for kind in KINDS:
        own = sorted(errors[kind])
        cells = []
        for name in ("p50", "p99"):
            value, base = (percentile(values, PERCENTILES[name]) for values in (own, plain))
            is_known = value is not None and base is not None
            cells += [microseconds(value), microseconds(value - base if is_known else None)]
        late = 100 * sum(error - median_ns > LATE_NS for error in own) / max(1, len(own))
        worst = microseconds(own[-1] if own else None)
        row = "".join(f"{cell:>8}" for cell in (*cells, worst))
        print(f"{kind:12}{len(own):7}{row}{late:8.1f}")


def microseconds(value_ns: int | None) -> str:
    return "?" if value_ns is None else f"{value_ns / 1000:.0f}"


def prepare(folder: Path) -> Path:
    """The environment of a daemon of its own; the configuration's path."""
    os.environ |= {name: str(folder) for name in ("HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME")}
    os.environ |= {VARIABLE: str(folder / "run"), "TERM": "xterm-256color"}
    styles = user_styles_folder()
    styles.mkdir(parents=True)
    shutil.copyfile(presets_folder() / "styles" / f"{STYLES[0]}.yaml", styles / f"{OWN}.yaml")
    return folder / "config.yaml"


def main() -> None:
    cycles = int(sys.argv[1]) if len(sys.argv) > 1 else CYCLES
    with TemporaryDirectory(prefix="ripieno-") as name:
        path = prepare(Path(name))
        port = "virtual" if choose().virtual else None
        wanted = {"input": port, "output": port, "style": OWN, "tempo": float(BPM)}
        listener = Listener()
        host = Host(Wishes(path, wanted, Library()), hear=listener.hear)
        with ControlServer(own_endpoint(), host) as server:
            player = Player(server, listener)
            thread = Thread(target=disturb, args=(player, cycles, host), daemon=True)
            try:
                print(*host.start(), sep="\n", flush=True)
                thread.start()
                host.run()
            finally:
                host.close()
            thread.join()
    report(listener.steps, player.spans)


def disturb(player: Player, cycles: int, host: Host) -> None:
    try:
        player.play(cycles)
    finally:
        host.tell(None)


if __name__ == "__main__":
    main()
