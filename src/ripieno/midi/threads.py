"""A MIDI system's own threads in this process: whether they are there, and whether they run.

The only sign that a JACK server has died: the port stays open, no callback is called, the list
of ports stays as it was, and sends succeed into a buffer that, once full, stops the process for
good. But each client loses a thread at once (64 ms after the server's death at the latest when
looked for every 50 ms, measured).

And the only sign that a server (1.9.21) never wakes a client of ours, as happens now and then with
two that are activated at about the same time: its ports are connected, and nothing comes or goes.
But a client that is woken has a thread that runs in each audio period.
"""

import os
import threading
from collections.abc import Iterable, Sequence

_TASKS = "/proc/self/task"  # Linux
_SWITCHES = "voluntary_ctxt_switches:"
_ENOUGH = 100  # periods of audio after which a client must have been woken, if another one has


class ForeignThreads:
    """The threads of this process that Python did not start."""

    def __init__(self) -> None:
        self._known = foreign()

    def renew(self) -> None:
        """What ends from now on counts: after opening or closing ports oneself."""
        self._known = foreign()

    @property
    def lost(self) -> bool:
        """Whether one has ended. Never where the system does not tell."""
        return not self._known <= foreign()


class Woken:
    """Which clients of one server are never woken, told by their threads from a moment on."""

    def __init__(self, clients: Sequence[frozenset[int]]) -> None:
        """The threads of each client."""
        self._clients = clients
        self._before = {thread: _waits(thread) for thread in frozenset().union(*clients)}

    def asleep(self) -> list[int] | None:
        """The places of the clients that are not; None as long as nobody can tell.

        A client's other threads run when ports come and go, but not half as often.
        """
        ran = [self._ran(client) for client in self._clients]
        most = max(ran, default=0)
        if most < _ENOUGH:
            return None
        return [place for place, count in enumerate(ran) if 2 * count < most]

    def _ran(self, client: Iterable[int]) -> int:
        return max((_waits(thread) - self._before[thread] for thread in client), default=0)


def _waits(thread: int) -> int:
    """How often a thread has waited for something, 0 where the system does not tell."""
    try:
        with open(f"{_TASKS}/{thread}/status", encoding="ascii", errors="replace") as status:
            found = [line for line in status if line.startswith(_SWITCHES)]
    except OSError:
        return 0
    return int(found[0].removeprefix(_SWITCHES)) if found else 0


def foreign() -> frozenset[int]:
    """The threads of this process that Python did not start; none where nobody tells."""
    try:
        tasks = frozenset(int(name) for name in os.listdir(_TASKS))
    except OSError:
        return frozenset()
    return tasks - {thread.native_id for thread in threading.enumerate() if thread.native_id}
