"""Tap tempo: the straight line through the last taps, a missed one allowed.

Least squares over eight taps is off by 0.74 beats a minute at 120 when each tap is 20 ms off
(standard deviation), their two ends by 1.0 (computed). Tappers begin anew by a pause. A tap that
is far from every beat is set aside; if the next one is as well, the two are a new beginning.
"""

from dataclasses import dataclass

from ripieno.units import NS_PER_MINUTE, NS_PER_S

MOST_TAPS = 8
FIRST_PAUSE_NS = 3 * NS_PER_S  # the beat of the slowest tempo, 20 a minute
PAUSE_BEATS = 2.5  # so much longer than a beat, a gap is no missed tap but a pause
# Beats: who taps is off by some 4 % of one (trained tappers, from memory), and by less than this.
_OUTLIER = 0.25
_ENOUGH = 4  # taps, before one can be told to be off


@dataclass(frozen=True, slots=True)
class Tapping:
    """What taps have said: a beat, no later than the last of them, and beats a minute."""

    beat_ns: int
    bpm: float


class Taps:
    """The taps of one beginning. Instants are monotonic and ascend."""

    def __init__(self) -> None:
        self._taps: list[tuple[int, int]] = []  # on which beat each fell, and when
        self._aside_ns: int | None = None

    def tap(self, at_ns: int) -> Tapping | None:
        """A tap; what they say so far, None after the first."""
        if not self._taps or self._is_pause(at_ns):
            self._taps, self._aside_ns = [(0, at_ns)], None
            return None
        if not self._fits(at_ns):
            if self._aside_ns is None:
                self._aside_ns = at_ns
                return self._said()
            self._taps = [(0, self._aside_ns)]
        self._aside_ns = None
        last_beat, last_ns = self._taps[-1]
        passed = 1
        if len(self._taps) > 1:
            passed = max(1, round((at_ns - last_ns) / self._line()[1]))
        self._taps = [*self._taps, (last_beat + passed, at_ns)][-MOST_TAPS:]
        return self._said()

    def _said(self) -> Tapping:
        beat_ns, apart_ns = self._line()
        return Tapping(min(round(beat_ns), self._taps[-1][1]), NS_PER_MINUTE / apart_ns)

    def _is_pause(self, at_ns: int) -> bool:
        gap_ns = at_ns - self._taps[-1][1]
        if len(self._taps) < 2:
            return gap_ns > FIRST_PAUSE_NS
        return gap_ns > PAUSE_BEATS * self._line()[1]

    def _fits(self, at_ns: int) -> bool:
        if len(self._taps) < _ENOUGH:
            return True
        beat_ns, apart_ns = self._line()
        beats = (at_ns - beat_ns) / apart_ns
        return abs(beats - max(1, round(beats))) <= _OUTLIER

    def _line(self) -> tuple[float, float]:
        """Where it has the beat of the last tap, and its slope; needs two taps."""
        count, first_ns = len(self._taps), self._taps[0][1]
        middle_beat = sum(beat for beat, _ in self._taps) / count
        middle_ns = sum(at_ns - first_ns for _, at_ns in self._taps) / count
        over = sum((beat - middle_beat) * (at - first_ns - middle_ns) for beat, at in self._taps)
        slope = over / sum((beat - middle_beat) ** 2 for beat, _ in self._taps)
        last_beat = self._taps[-1][0]
        return first_ns + middle_ns + (last_beat - middle_beat) * slope, slope
