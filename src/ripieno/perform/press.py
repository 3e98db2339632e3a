"""What can be pressed to give a command: a controller, a key or a program change."""

import re
from dataclasses import dataclass
from enum import StrEnum

from ripieno.errors import AuthorError
from ripieno.perform import message
from ripieno.perform.events import Controller, Input, KeyDown, KeyUp, Passing

ON = 64  # MIDI 1.0: what switches by a controller is off to 63, on from 64


class PressKind(StrEnum):
    CONTROLLER = "controller"
    NOTE = "note"
    PROGRAM = "program"


_WRITTEN = re.compile(r"(controller|note|program) ([0-9]{1,3}) on channel ([0-9]{1,2})")
MOST_NUMBER = {PressKind.CONTROLLER: 119, PressKind.NOTE: 127, PressKind.PROGRAM: 127}


@dataclass(frozen=True, slots=True)
class Press:
    """number 0..127, for a controller 0..119 (MIDI 1.0: above are mode messages); channel 0..15.

    Written `controller 20 on channel 1`, with the channel counted from 1 as players do.
    """

    kind: PressKind
    number: int
    channel: int = 0

    def __str__(self) -> str:
        return f"{self.kind} {self.number} on channel {self.channel + 1}"


def press_named(text: str) -> Press:
    """The press written so. Raises AuthorError."""
    match = _WRITTEN.fullmatch(" ".join(text.split()))
    if match is not None:
        kind, number, channel = PressKind(match[1]), int(match[2]), int(match[3])
        if number <= MOST_NUMBER[kind] and 1 <= channel <= 16:
            return Press(kind, number, channel - 1)
    raise AuthorError(
        f"found '{text[:40]}'; expected controller 0 to 119, note or program 0 to 127, and a "
        "channel 1 to 16, such as 'controller 20 on channel 1'"
    )


def pressed(event: Input) -> tuple[Press, int] | None:
    """What an event presses or lets go, with its value 0..127; None: it is no such event.

    A key that comes up has the value 0, a program change always 127.
    """
    match event:
        case Controller():
            return Press(PressKind.CONTROLLER, event.number, event.channel), event.value
        case KeyDown():
            return Press(PressKind.NOTE, event.note, event.channel), event.velocity
        case KeyUp():
            return Press(PressKind.NOTE, event.note, event.channel), 0
        case Passing() if event.data[0] & 0xF0 == message.PROGRAM_CHANGE:
            return Press(PressKind.PROGRAM, event.data[1], event.data[0] & 0x0F), 127
        case _:
            return None
