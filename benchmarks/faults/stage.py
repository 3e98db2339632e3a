"""The stage, from its front: plugs are pulled, keys are pressed, and what sounds is known.

The instrument is a recorder, keyboard and others are a process of `other_ends`. One after another
of them dies, with its JACK server or by a pulled cable; the account of what sounds goes on, as an
instrument does.
"""

import random
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Self

from faults.account import Account
from faults.recorder import Recorder

INSTRUMENT, KEYBOARD = "stage-piano", "stage-keys"  # as the daemon is told to find them
PATIENCE_S = 20.0  # a loaded machine's; nothing waits for it unless something is broken
NS_PER_S = 1_000_000_000
NS_PER_MS = 1_000_000

_APART_S = 0.004  # between two keys; a period has 2.7 ms
_AGAIN_S = 0.1  # between two chords of a player who waits to be heard
CHORDS = ((60, 64, 67), (57, 60, 64), (53, 57, 60), (55, 59, 62), (52, 55, 59), (50, 53, 57))
SPLIT, MELODY = "C5", (76, 79, 81, 84, 86, 88, 91, 93, 96)  # held above the split


class Stage:
    def __init__(self, seed: int) -> None:
        self.account = Account()
        self._rng = random.Random(seed)
        self._held: Sequence[int] = ()
        self._melody: Sequence[int] = ()
        self._answers: SimpleQueue[int] = SimpleQueue()
        self._recorder: Recorder | None = None
        self._begin()

    @property
    def pid(self) -> int:
        return self._process.pid

    def plug(self, *names: str) -> int:
        """The instrument, the keyboard, another: the instant by which all are there."""
        return max(self._plug(name) for name in names)

    def pull(self, *names: str) -> int:
        """The instant at which the first of them begins to be gone."""
        return min(self._pull(name) for name in names)

    def send(self, *messages: bytes) -> None:
        for data in messages:
            self._tell("send", data.hex())

    def send_apart(self, *messages: bytes) -> None:
        """As hands do: no two in one period of the server's."""
        for data in messages:
            self.send(data)
            time.sleep(_APART_S)

    def chord(self) -> None:
        """Another chord than the one that is held, in the player's left hand."""
        self._lift(self._held)
        chords = [keys for keys in CHORDS if keys != self._held]
        self._held = self._rng.choice(chords)
        self.send_apart(*(bytes((0x90, key, self._rng.randint(50, 110))) for key in self._held))

    def melody(self) -> None:
        """Nine keys held above the split point, each of which sounds as it is."""
        self._lift(self._melody)
        self._melody = MELODY
        self.send_apart(*(bytes((0x90, key, 80)) for key in MELODY))

    def lift_all(self) -> None:
        self._lift([*self._held, *self._melody])
        self._held = self._melody = ()

    def play_until_heard(self, after_ns: int, patience_s: float = PATIENCE_S) -> int | None:
        """Chords a tenth of a second apart, as a player does who waits to be heard.

        The instant of the first strike after `after_ns`; None if none came.
        """
        give_up_ns = time.monotonic_ns() + round(patience_s * NS_PER_S)
        while time.monotonic_ns() < give_up_ns:
            self.chord()
            self.account.wait_until(
                lambda a: bool(a.strikes) and a.strikes[-1] > after_ns, _AGAIN_S
            )
            if (heard_ns := self.account.first_strike_after(after_ns)) is not None:
                return heard_ns
        return None

    def wait_for_notes(self, count: int) -> bool:
        """Whether so many have come to sound at once."""
        return self.account.wait_until(lambda a: len(a.down) >= count, PATIENCE_S / 4)

    def wait_until_silent(self, patience_s: float) -> int:
        """How many notes sound yet, as soon as none does or after `patience_s`."""
        self.account.wait_until(lambda a: not a.down, patience_s)
        return len(self.account.down)

    def die(self) -> None:
        """With its JACK server: its ports are not to be touched any more."""
        self._process.kill()
        self._process.wait()
        self._reader.join()
        if self._recorder is not None:
            self._recorder.kill()
            self._recorder = None
        self._held = self._melody = ()

    def live(self) -> None:
        """Anew, with no ports yet."""
        self._begin()

    def close(self) -> None:
        if self._process.poll() is None:
            self._tell("end")
            try:
                self._process.wait(timeout=5)
            except subprocess.TimeoutExpired:  # its server has died, say
                self._process.kill()
                self._process.wait()
        self._reader.join()
        if self._recorder is not None:
            self._recorder.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _begin(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("other_ends.py"))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        )
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()

    def _plug(self, name: str) -> int:
        if name != "instrument":
            return self._do("plug", name)
        self._recorder = Recorder(INSTRUMENT, self.account)
        return self._recorder.since_ns

    def _pull(self, name: str) -> int:
        if name != "instrument":
            return self._do("pull", name)
        assert self._recorder is not None
        recorder, self._recorder = self._recorder, None
        return recorder.close()

    def _do(self, *words: str) -> int:
        """Have it done at the other ends. The nanosecond by which it had been."""
        self._tell(*words)
        try:
            return self._answers.get(timeout=PATIENCE_S)
        except Empty:
            raise AssertionError(f"the other ends do not answer to {words}") from None

    def _lift(self, keys: Sequence[int]) -> None:
        self.send_apart(*(bytes((0x80, key, 64)) for key in keys))

    def _tell(self, *words: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(" ".join(words) + "\n")

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._answers.put(int(line.split()[1]))
