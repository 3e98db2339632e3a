"""How a tempo changes over a stretch of the music: ritardandi, accelerandi and plain ramps.

    v(x) = [1 + (w**q - 1) x] ** (1/q)

`v` is the tempo by the tempo before, `x` the place in the stretch, 0 to 1, `w` the tempo at its
end and `q` the curvature (Friberg & Sundberg 1999, "Does music performance allude to
locomotion?", JASA 105(3): final ritardandi of music compared with runners who stop). With q = 3
the braking power is constant, and listeners liked 2 and 3 best; q = 2 changes the tempo evenly
in time. The formula was read in public implementations of the rule that cite the paper.

The integral is closed, so that places are due exactly where the curve has them:

    t(x) = q / (q - 1) * ([1 + (w**q - 1) x] ** ((q - 1) / q) - 1) / (w**q - 1)

in stretches at the tempo before.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from ripieno.perform.transport import Transport
from ripieno.units import ns_per_quarter

RITARDANDO_TO, RITARDANDO_CURVATURE = 0.5, 3  # of the tempo before; Friberg & Sundberg 1999
RAMP_CURVATURE = 2
# Between these the tempo is constant: the places of MIDI clock, and of all eighths, triplets and
# sixteenths. What lies between them is off by far less than a millisecond.
_NODES_A_QUARTER = 24
_RATE_PARTS = 1000  # of a nanosecond: what is lost in ten minutes is under a microsecond


@dataclass(frozen=True, slots=True)
class Curve:
    """From tempo 1 to `to` (above 0, not 1) with a curvature above 1."""

    to: float
    curvature: float

    def tempo(self, place: float) -> float:
        """By the tempo before; `place` 0..1."""
        return float((1 + (self.to**self.curvature - 1) * place) ** (1 / self.curvature))

    def time(self, place: float) -> float:
        """When a place is reached, in stretches at the tempo before; `place` 0..1."""
        q = self.curvature
        turn = self.to**q - 1
        return float(q / (q - 1) * ((1 + turn * place) ** ((q - 1) / q) - 1) / turn)


def along(curve: Curve, transport: Transport, now_ns: int, end: Fraction) -> Iterator[Transport]:
    """The pieces of constant tempo from now to the position `end`, which lies ahead.

    The first begins now, each other at its own anchor; the last is after the end.
    """
    here = transport.position_at(now_ns)
    length = end - here
    whole_ns = float(length * transport.ns_per_quarter)
    places = [here, *_nodes(here, end), end]
    dues = [now_ns + round(whole_ns * curve.time(float((p - here) / length))) for p in places]
    pieces = zip(places, dues, places[1:], dues[1:], strict=False)
    for place, due_ns, next_place, next_ns in pieces:
        rate = Fraction(next_ns - due_ns) / (next_place - place)
        yield transport.going_on(due_ns, place, rate)
    after = Fraction(round(transport.ns_per_quarter / Fraction(curve.to) * _RATE_PARTS))
    yield transport.going_on(dues[-1], end, after / _RATE_PARTS)


def ramp(transport: Transport, now_ns: int, bpm: float, end: Fraction) -> Iterator[Transport]:
    """As `along`, to a tempo of the meter's beat."""
    to_ns = ns_per_quarter(bpm, transport.meter.beat_quarters)
    if to_ns == transport.ns_per_quarter:
        return
    curve = Curve(float(transport.ns_per_quarter / to_ns), RAMP_CURVATURE)
    *pieces, last = along(curve, transport, now_ns, end)
    yield from pieces
    yield last.going_on(last.anchor_ns, last.anchor_quarters, to_ns)


def _nodes(here: Fraction, end: Fraction) -> list[Fraction]:
    """The places between two positions, both left out, at which the tempo changes."""
    first = here * _NODES_A_QUARTER // 1 + 1
    last = -(-end * _NODES_A_QUARTER // 1) - 1
    return [Fraction(node, _NODES_A_QUARTER) for node in range(int(first), int(last) + 1)]
