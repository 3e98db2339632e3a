"""Conversions between what the program counts in and what people read."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ripieno.units import ms_from_ns, ns_from_ms, ns_per_quarter

# A float has 53 bits; two roundings, there and back, take two of them.
EXACT_NS = 2**51  # 26 days


@given(st.integers(-EXACT_NS, EXACT_NS))
def test_nanoseconds_survive_being_written_as_milliseconds(ns: int) -> None:
    assert ns_from_ms(ms_from_ns(ns)) == ns


@pytest.mark.parametrize(
    ("ms", "ns"), [(1.5, 1_500_000), (0.0000004, 0), (0.0000006, 1), (-2, -2_000_000)]
)
def test_milliseconds_become_the_nearest_nanosecond(ms: float, ns: int) -> None:
    assert ns_from_ms(ms) == ns


# A clock of 24 ticks a quarter has these periods in milliseconds: 60000 / (bpm * 24), rounded
# to a ten-thousandth (MIDI 1.0: 24 clocks a quarter note).
@pytest.mark.parametrize(
    ("bpm", "clock_ms"),
    [(40, 62.5), (60, 41.6667), (90, 27.7778), (100, 25.0), (120, 20.8333), (140, 17.8571),
     (180, 13.8889), (240, 10.4167)],
)  # fmt: skip
def test_a_quarter_is_24_midi_clocks(bpm: float, clock_ms: float) -> None:
    quarter = ns_per_quarter(bpm, Fraction(1))
    assert float(quarter) / 24 / 1_000_000 == pytest.approx(clock_ms, abs=0.00005)


def test_a_tempo_counts_the_beat_it_is_given_for() -> None:
    # 60 dotted quarters a minute are 90 quarters (arithmetic).
    assert ns_per_quarter(60, Fraction(3, 2)) == ns_per_quarter(90, Fraction(1))
    assert ns_per_quarter(120, Fraction(2)) == ns_per_quarter(240, Fraction(1))


# Tempi of MIDI files: whole microseconds a quarter, in three bytes.
@given(st.integers(150_000, 3_000_000))
def test_the_tempo_of_a_midi_file_is_met_exactly(us: int) -> None:
    assert ns_per_quarter(60_000_000 / us, Fraction(1)) == us * 1000


def test_a_tempo_written_in_decimals_is_met_exactly_however_it_was_computed() -> None:
    assert ns_per_quarter(0.1 + 0.2 + 90, Fraction(1)) == Fraction(600_000_000_000, 903)
    assert ns_per_quarter(97.001, Fraction(1)) == Fraction(60_000_000_000_000, 97_001)
