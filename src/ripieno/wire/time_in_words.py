"""What a status says of the time, in plain words: who leads it, and what is under way."""

from ripieno.wire.status import Status

_CLOCKS = {
    "heard": "MIDI clock, heard",
    "missing": "MIDI clock, missing",
    "stopped": "MIDI clock, stopped",
}


def leader(now: Status) -> str:
    """Who leads the time: `own tempo`, `MIDI clock, missing`, `your hands lead, lean 50`."""
    match now.follow:
        case "clock":
            return _CLOCKS.get(now.clock, "MIDI clock")
        case "hands":
            return f"your hands lead, lean {now.lean}"
        case _:
            return "own tempo"


def under_way(now: Status) -> str:
    """What passes by itself, '' if nothing does. What waits while bars are counted is told once."""
    if now.counting:
        return "counting in"
    if now.ending:
        return "coming to the end"
    return "waiting for the downbeat" if now.waiting else ""


def about_time(now: Status) -> tuple[str, ...]:
    """What is under way, who leads, and what is not as it mostly is, the most urgent first."""
    beats = "beat" if now.pickup == 1 else "beats"
    said = (
        under_way(now),
        leader(now),
        f"pick-up of {now.pickup} {beats}" if now.pickup else "",
        "enters on downbeats" if now.starting == "downbeat" else "",
        "sends MIDI clock" if now.send_clock else "",
    )
    return tuple(part for part in said if part)
