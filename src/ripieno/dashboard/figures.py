"""What the engine counts, each with its definition. What is not known is `unknown`, never 0."""

from collections.abc import Mapping
from dataclasses import dataclass

UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Figure:
    """`means` is one sentence."""

    name: str
    value: str
    means: str


_COUNTERS = {
    "received": ("came in", "Messages from the keyboard."),
    "sent": ("went out", "Messages to the instrument."),
    "failed": ("refused", "Messages that the output did not take."),
    "unheard": ("unheard", "Messages sent while there was no instrument."),
    "flooded": (
        "flooded",
        "Messages that came faster than they could be taken, and were dropped; all notes were "
        "then ended.",
    ),
    "skipped": (
        "skipped",
        "Places in the figure that went by in silence after the machine had stood still.",
    ),
    "renewed": ("made anew", "Connections that the MIDI server had never woken."),
    "lost_inputs": ("not taken in", "Errors of the input; each may have cost a message."),
    "dropped_news": ("not told", "Happenings that neither the journal nor a screen heard of."),
    "clients_refused": ("turned away", "Screens and programs that were too many."),
    "clients_dropped": ("dropped", "Screens and programs that did not read what they had asked."),
    "bad_lines": ("no commands", "Lines of the control protocol that were none."),
    "control_faults": ("faults", "Faults of the daemon's own in answering; report them."),
    "unkept": ("not kept", "Happenings that did not get into the journal's file."),
}
_LATENESS = ("late", "latest_us")


def lateness(counts: Mapping[str, int]) -> tuple[Figure, ...]:
    """How exact the notes are. Nothing is known before something was sent."""
    measured = counts.get("sent", 0) > 0
    return (
        Figure(
            "late messages",
            str(counts["late"]) if measured and "late" in counts else UNKNOWN,
            "Those that left more than 10 ms after they were due, of all since the daemon began.",
        ),
        Figure(
            "latest message",
            _ms(counts["latest_us"]) if measured and "latest_us" in counts else UNKNOWN,
            "By how much the latest of them left after it was due.",
        ),
        Figure(
            "answer to a chord",
            UNKNOWN,
            "From its last key to the first note; not measured while you play: in a shell, "
            "'ripieno latency' does.",
        ),
    )


def counters(counts: Mapping[str, int]) -> tuple[Figure, ...]:
    """All that went by in all engines so far, and what a newer daemon counts beyond it."""
    known = [
        Figure(name, str(counts[key]) if key in counts else UNKNOWN, means)
        for key, (name, means) in _COUNTERS.items()
    ]
    others = sorted(counts.keys() - _COUNTERS.keys() - set(_LATENESS))
    return (
        *known,
        *(Figure(key, str(counts[key]), "Counted by a newer daemon.") for key in others),
    )


def _ms(microseconds: int) -> str:
    if microseconds < 10:
        return "under 0.01 ms"
    return f"{microseconds / 1000:.2f} ms"
