"""How often the status is drawn: ten times a second, or as often as a machine can spare."""

from collections.abc import Callable
from time import process_time

FRAME_S = 0.1  # between two drawings
SLOWEST_S = 0.25  # and at most; beyond it a beat is no movement any more
_SHARE = 0.08  # of a processor, which other programs need for sound
_LEARNT = 0.1  # how much one drawing changes what the next is expected to take


class Pace:
    """To be asked after each drawing; `used` tells the processor's time that the process has had.

    A large terminal takes long to draw, and a slow machine takes longer; what it takes becomes
    known while the next drawing is waited for, and counts from then on.
    """

    def __init__(self, used: Callable[[], float] = process_time) -> None:
        self._used = used
        self._before_s = used()
        self._takes_s = 0.0

    def rest_s(self) -> float:
        """How long to wait before the next."""
        now_s = self._used()
        self._takes_s += _LEARNT * (now_s - self._before_s - self._takes_s)
        self._before_s = now_s
        return min(max(FRAME_S, self._takes_s / _SHARE), SLOWEST_S)
