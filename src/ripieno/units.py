"""Units of time, and the conversions between them.

Instants and durations are whole nanoseconds on a monotonic clock (names end in `_ns`);
musical positions and lengths are Fractions of a quarter note (`_quarters`); people read
milliseconds (`_ms`, float) and beats per minute (`bpm`).
"""

from fractions import Fraction

NS_PER_MS = 1_000_000
NS_PER_S = 1_000_000_000
NS_PER_MINUTE = 60 * NS_PER_S


def ns_from_ms(ms: float) -> int:
    """The nanoseconds in `ms` milliseconds, to the nearest."""
    return round(ms * NS_PER_MS)


def ms_from_ns(ns: int) -> float:
    """Milliseconds, exact to the nanosecond for instants below 104 days (2**53 ns)."""
    return ns / NS_PER_MS


def ns_per_quarter(bpm: float, beat_quarters: Fraction) -> Fraction:
    """How long a quarter note lasts when `bpm` beats of `beat_quarters` pass in a minute.

    `bpm` is read to a thousandth, so that equal tempi give equal grids on every machine.
    """
    return Fraction(NS_PER_MINUTE * 1000, round(bpm * 1000)) / beat_quarters
