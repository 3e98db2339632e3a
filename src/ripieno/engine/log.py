"""What an engine records, on its way to whoever wants to know."""

from collections import deque

from ripieno.engine.loop import Timed


class Log:
    """Filled by the loop's thread and taken from by another. Neither waits.

    Beyond `most` things that nobody has taken, further ones are `dropped`, which counts them.
    """

    def __init__(self, most: int | None = None) -> None:
        self.dropped = 0
        self._most = most
        self._waiting: deque[Timed] = deque()

    def put(self, timed: Timed) -> None:
        if self._most is None or len(self._waiting) < self._most:
            self._waiting.append(timed)
        else:
            self.dropped += 1

    def take(self, most: int | None = None) -> list[Timed]:
        """What has come since the last call, oldest first; no more than so much of it."""
        count = len(self._waiting)
        return [self._waiting.popleft() for _ in range(count if most is None else min(most, count))]
