"""A run that is over in a few seconds."""

from rig import STYLES
from ripieno.latency.measure import Order
from ripieno.style.load import load_style
from ripieno.style.model import Style

ROUNDS = 4


def styles(*names: str) -> tuple[Style, ...]:
    return tuple(load_style(STYLES / f"{name}.yaml") for name in names)


ORDER = Order(
    strikes=ROUNDS,
    seconds=1.0,
    seed=1,
    load=False,
    at_once=styles("smooth-chords", "wide-pad"),
    dense=styles("rippling-sixteenths", "driving-eighths"),
)
