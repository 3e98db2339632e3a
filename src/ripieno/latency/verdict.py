"""What a measured latency means to a player, in words and with whose finding it is.

The sources:

- Wessel & Wright 2002 (Computer Music Journal 26(3)): an instrument should answer within 10 ms,
  and vary by no more than 1 ms.
- Jack, Mehrabi, Stockman & McPherson 2018: players rated 10 ms that never varies as good as
  none, and 10 ms that varies by 3 ms worse, as they did 20 ms.

Variation is taken as what lies between the median and the 99th percentile (our choice: the
papers' own test signals varied evenly).
"""

from ripieno.latency.distribution import Summary
from ripieno.latency.histogram import time
from ripieno.units import NS_PER_MS

_DELAY_NS = 10 * NS_PER_MS
_VARIATION_NS = 1 * NS_PER_MS
_WORSE_NS = 3 * NS_PER_MS


def verdict(answer: Summary) -> str:
    """One or two sentences on the time from a strike to its answer."""
    median, p99 = answer.values_ns["p50"], answer.values_ns["p99"]
    if median is None or p99 is None:
        return f"No verdict: {answer.count} answers are too few, it takes 100."
    lost = f" {answer.lost} were never answered." if answer.lost else ""
    return f"{_delay(p99)} {_variation(p99 - median)}{lost}"


def _delay(p99: int) -> str:
    if p99 <= _DELAY_NS:
        return (
            f"99 of 100 answers come within {time(p99)}, below the 10 ms that players accept "
            "(Wessel & Wright 2002)."
        )
    return (
        f"One answer in 100 takes more than {time(p99)}, above the 10 ms that players accept "
        "(Wessel & Wright 2002)."
    )


def _variation(variation: int) -> str:
    varies = f"They vary by {time(variation)}"
    if variation <= _VARIATION_NS:
        return (
            f"{varies}, within the 1 ms of the same source: a delay that steady was rated as "
            "good as none up to 10 ms (Jack et al. 2018)."
        )
    if variation < _WORSE_NS:
        return f"{varies}, above the 1 ms of the same source."
    return (
        f"{varies}: 10 ms that vary by 3 were rated worse than no delay, as 20 ms were "
        "(Jack et al. 2018)."
    )
