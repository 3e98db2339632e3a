"""What the engines count, by name, over all that have played."""

from ripieno.engine.messages import Answer

Counted = dict[str, int]

_IS_THE_MOST = {"latest_us"}


def counts_of(answer: Answer) -> Counted:
    """What went by in one engine."""
    counts = answer.counts
    return {
        "received": counts.received,
        "sent": counts.sent,
        "failed": counts.failed,
        "flooded": counts.flooded,
        "late": counts.late,
        "latest_us": counts.latest_ns // 1000,
        "skipped": answer.skipped,
        "lost_inputs": answer.lost_inputs,
        "unheard": answer.unheard,
        "renewed": answer.renewed,
        "dropped_news": answer.dropped_news,
    }


def together(before: Counted, now: Counted) -> Counted:
    """The two as one."""
    return {
        name: max(count, before.get(name, 0))
        if name in _IS_THE_MOST
        else count + before.get(name, 0)
        for name, count in now.items()
    }
