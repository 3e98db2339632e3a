"""What a daemon says of itself, for the tests of the screen.

    status(chord="F#m7b5/A", beat=3)

is a status of a daemon that plays in 4/4, with these changes.
"""

from dataclasses import replace
from typing import Any

from ripieno.wire.status import ControlStatus, Status

PLAYING = Status(
    style="flowing-eighths", style_name="Flowing eighths", bpm=92.0, meter="4/4", key="G major",
    hold=True, split=None, transpose=0, channel=1, reading="played", swing="1",
    follow="none", lean=50, clock="", starting="strike", pickup=0, send_clock=False,
    counting=False, ending=False, waiting=False, chord="Am7", degree="ii7",
    bar=5, beat=2, left=(45, 52), right=(60, 64, 67), sounding=(45, 52, 60, 64, 67), pedal=True,
    input="Stage Keys MIDI 1", output="Grand Piano MIDI 1",
    input_why="the first input that is no loopback", output_why="named by --out",
    engine="playing", restarts=0, scheduling="real-time priority 70",
    counts={"received": 120, "sent": 1480, "failed": 0, "late": 0, "latest_us": 900},
    learning=None, controls=(ControlStatus("controller 20 on channel 1", ("next",)),),
    journal="/home/player/.local/state/ripieno/today.jsonl", notices=(), uptime_s=754.0,
    keys=(57, 60, 64, 67), quarters=1.5, bar_quarters=4.0, muted=None, hearing=None, serial=12,
)  # fmt: skip


def status(**changes: Any) -> Status:
    return replace(PLAYING, **changes)
