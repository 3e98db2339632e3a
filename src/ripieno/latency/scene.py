"""What the dashboard of a loaded run is told: the harness says it to `latency.screen`, pickled.

First a `Scene`, then an `Answer` for each look at the engine, and another `Scene` whenever the
choice has changed.
"""

from dataclasses import dataclass

from ripieno.engine.messages import Ready
from ripieno.perform.chosen import Chosen


@dataclass(frozen=True, slots=True)
class Scene:
    """An engine as its host knows it, but for what it plays this moment."""

    chosen: Chosen
    ready: Ready
