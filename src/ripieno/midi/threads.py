"""Whether a MIDI system's own threads in this process still run.

The only sign that a JACK server has died: the port stays open, no callback is called, the list
of ports stays as it was, and sends succeed into a buffer that, once full, stops the process for
good. But each client loses a thread at once (64 ms after the server's death at the latest when
looked for every 50 ms, measured).
"""

import os
import threading

_TASKS = "/proc/self/task"  # Linux


class ForeignThreads:
    """The threads of this process that Python did not start."""

    def __init__(self) -> None:
        self._known = _foreign()

    def renew(self) -> None:
        """What ends from now on counts: after opening or closing ports oneself."""
        self._known = _foreign()

    @property
    def lost(self) -> bool:
        """Whether one has ended. Never where the system does not tell."""
        return not self._known <= _foreign()


def _foreign() -> frozenset[int]:
    try:
        tasks = frozenset(int(name) for name in os.listdir(_TASKS))
    except OSError:
        return frozenset()
    return tasks - {thread.native_id for thread in threading.enumerate() if thread.native_id}
