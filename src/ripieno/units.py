"""Units of time, and the conversions between them.

Instants and durations are whole nanoseconds on a monotonic clock (names end in `_ns`);
musical positions and lengths are Fractions of a quarter note (`_quarters`); people read
milliseconds (`_ms`, float) and beats per minute (`bpm`).
"""

from fractions import Fraction

NS_PER_MS = 1_000_000
NS_PER_S = 1_000_000_000
NS_PER_MINUTE = 60 * NS_PER_S

_TEMPO_PARTS = 3_000_000  # the microseconds of the slowest beat there is, 20 a minute


def ns_from_ms(ms: float) -> int:
    """The nanoseconds in `ms` milliseconds, to the nearest."""
    return round(ms * NS_PER_MS)


def ms_from_ns(ns: int) -> float:
    """Milliseconds, exact to the nanosecond for instants below 26 days (2**51 ns)."""
    return ns / NS_PER_MS


def ns_per_quarter(bpm: float, beat_quarters: Fraction) -> Fraction:
    """How long a quarter note lasts when `bpm` beats of `beat_quarters` pass in a minute.

    The tempo is taken for the simplest fraction that its float can mean, so that 90.3 is 903/10
    and a MIDI file's, whole microseconds a quarter, is met exactly.
    """
    return NS_PER_MINUTE / Fraction(bpm).limit_denominator(_TEMPO_PARTS) / beat_quarters
