"""What an instrument is sounding, kept where the death of who sent it does not reach.

A file of fixed size, mapped into memory: a byte for each note of each channel, one for each of a
channel's pedals that hold notes, and the name of the output it is true of. A note is written down
before its note-on is sent and struck out after its note-off has been, so that whatever ends the
process, and between whichever two instructions, every note that may sound stands here. The next
process to open that output ends them.

That a note-off has been sent does not say that it has arrived: a cable may have been pulled some
moments before anybody knows, and what a killed process had sent last never leaves. So a note that
was struck out is still `doubtful`, until the output has been closed in good order.
"""

import mmap
import os
from pathlib import Path
from typing import Self

from ripieno.errors import MachineError
from ripieno.perform import message

_CHANNELS, _NOTES, _NAME = 16, 128, 256
_PEDALS_AT = _CHANNELS * _NOTES
_NAME_AT = _PEDALS_AT + _CHANNELS * len(message.HOLDING)
_SIZE = _NAME_AT + _NAME

_SOUNDS, _DOUBTFUL = 1, 2


class Sounding:
    """One output's. It belongs to one thread at a time."""

    def __init__(self, kept: "mmap.mmap | bytearray") -> None:
        self._kept = kept

    @classmethod
    def at(cls, path: Path) -> Self:
        """What stands in a file, which is made if there is none. Raises MachineError."""
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
            try:
                os.truncate(handle, _SIZE)
                return cls(mmap.mmap(handle, _SIZE))
            finally:
                os.close(handle)
        except OSError as error:
            raise MachineError(f"{path}: cannot keep what sounds ({error.strerror})") from None

    @classmethod
    def unkept(cls) -> Self:
        """In this process alone: what sounds when it dies is not known to another."""
        return cls(bytearray(_SIZE))

    @property
    def output(self) -> str:
        """The name of the output; empty before there was one."""
        name = bytes(self._kept[_NAME_AT:]).rstrip(b"\0")
        return name.decode(errors="ignore")

    @output.setter
    def output(self, name: str) -> None:
        self._kept[_NAME_AT:] = name.encode()[:_NAME].ljust(_NAME, b"\0")

    def before(self, data: bytes) -> None:
        """A message is about to be sent."""
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind == message.NOTE_ON and data[2]:
            self._kept[channel * _NOTES + data[1]] = _SOUNDS
        elif kind == message.CONTROL_CHANGE and data[1] in message.HOLDING:
            place = _pedal_at(channel, data[1])
            self._kept[place] = max(data[2], self._kept[place])

    def after(self, data: bytes) -> None:
        """A message has been sent."""
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind == message.NOTE_OFF or (kind == message.NOTE_ON and not data[2]):
            place = channel * _NOTES + data[1]
            self._kept[place] = _DOUBTFUL if self._kept[place] else 0
        elif kind == message.CONTROL_CHANGE and data[1] in message.HOLDING:
            self._kept[_pedal_at(channel, data[1])] = data[2]

    def endings(self) -> list[bytes]:
        """What ends all that may sound: each note, each pedal, then the channels as a whole."""
        pedals = bytes(self._kept[_PEDALS_AT:_NAME_AT])
        down = self._those(_SOUNDS)
        held = [place // len(message.HOLDING) for place, value in enumerate(pedals) if value]
        data = [message.note_off(channel, note) for channel, note in down]
        for channel in sorted({channel for channel, _ in down} | set(held)):
            data += message.silence(channel)
        return data

    def doubtful(self) -> list[bytes]:
        """What was ended, once more, for those that may not have heard it. To be sent last."""
        notes = self._those(_DOUBTFUL)
        pedals = sorted({channel for channel, _ in notes})
        lifts = [
            message.control(channel, message.SUSTAIN, 0)
            for channel in pedals
            if not self._kept[_pedal_at(channel, message.SUSTAIN)]
        ]
        return [message.note_off(channel, note) for channel, note in notes] + lifts

    @property
    def notes(self) -> int:
        """How many notes may sound, but for the doubtful."""
        return len(self._those(_SOUNDS))

    def ended(self) -> None:
        """The endings have been sent."""
        for channel, note in self._those(_SOUNDS):
            self._kept[channel * _NOTES + note] = _DOUBTFUL
        self._kept[_PEDALS_AT:_NAME_AT] = bytes(_NAME_AT - _PEDALS_AT)

    def arrived(self) -> None:
        """What has been sent has left: nothing is doubtful any more."""
        for channel, note in self._those(_DOUBTFUL):
            self._kept[channel * _NOTES + note] = 0

    def forget(self) -> None:
        """Nothing sounds."""
        self._kept[:_NAME_AT] = bytes(_NAME_AT)

    def _those(self, mark: int) -> list[tuple[int, int]]:
        """The (channel, note) that are marked so, ascending."""
        kept = bytes(self._kept[:_PEDALS_AT])
        return [divmod(place, _NOTES) for place, found in enumerate(kept) if found == mark]


def _pedal_at(channel: int, number: int) -> int:
    return _PEDALS_AT + channel * len(message.HOLDING) + message.HOLDING.index(number)
