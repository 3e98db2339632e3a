"""From the bytes of a MIDI wire to the performer's inputs.

The rules are MIDI 1.0's:

- a status byte (80..FF) begins a message, data bytes (00..7F) complete it;
- running status: while channel messages of one status follow each other, the status may be
  left out;
- a real-time byte (F8..FF) may stand anywhere, also between the data bytes of another message,
  and leaves that message and the running status as they are;
- system common (F1..F7) and system exclusive (F0) end the running status;
- a status byte other than real-time ends whatever was incomplete.

What becomes of each message:

- note-on: KeyDown; with velocity 0 KeyUp, its release velocity 64. Note-off: KeyUp.
- control changes 0..119: Controller.
- 120 all sound off: Silence.
- 123 all notes off, and 124..127 which act as it: KeyUp for each key of the channel that is
  down. Many keyboards send 123 after the last key has come up; that must not end the music.
- 121 reset all controllers: each controller's value at rest, `message.AT_REST`. It is
  spelled out instead of passed on, for the instrument's channel also carries the accompaniment:
  whoever keeps account of the pedal there has to see it lifted. Polyphonic pressure, 128
  messages, is left out.
- 122 local control: nothing, for it is about the keyboard's own sound.
- program change, pitch bend, pressure: Passing.
- system exclusive: nothing, for it is addressed to one maker's device, and what plays the
  accompaniment is another.
- timing clock, start, continue, stop: ClockTick, ClockStart, ClockContinue, ClockStop; song
  position: SongPosition.
- active sensing: nothing here; see `midi.sensing`.
- other system common and real-time (quarter frame, song select, tune request, reset): nothing,
  for nothing here is tuned, or chosen by number, or set by a film's time.
"""

from ripieno.perform import message
from ripieno.perform.events import (
    ClockContinue,
    ClockStart,
    ClockStop,
    ClockTick,
    Controller,
    Input,
    KeyDown,
    KeyUp,
    Passing,
    Silence,
    SongPosition,
)
from ripieno.perform.moved import Moved

_REAL_TIME: dict[int, type[ClockTick | ClockStart | ClockContinue | ClockStop]] = {
    message.CLOCK: ClockTick,
    message.CLOCK_START: ClockStart,
    message.CLOCK_CONTINUE: ClockContinue,
    message.CLOCK_STOP: ClockStop,
}


class Decoder:
    """One wire's state. `ignored` counts data bytes that were part of no whole message.

    The data bytes of system exclusive are not among them.
    """

    def __init__(self) -> None:
        self.ignored = 0
        self._status: int | None = None  # of the message being gathered, and the running status
        self._data = bytearray()
        self._in_exclusive = False
        self._down: set[tuple[int, int]] = set()  # channel, note
        self._moved = Moved()

    def feed(self, data: bytes, at_ns: int) -> list[Input]:
        """The inputs that `data` completes, stamped `at_ns`. Any bytes, cut anywhere."""
        inputs: list[Input] = []
        for byte in data:
            if byte >= message.FIRST_REALTIME:
                inputs += _real_time_inputs(byte, at_ns)
            elif byte >= 0x80:
                self._begin(byte)
            elif self._completes(byte):
                inputs += self._finished(at_ns)
        return inputs

    def unplugged(self, at_ns: int) -> list[Input]:
        """No more will come on this wire: every key comes up, pedals and wheels go to rest."""
        self._status, self._in_exclusive = None, False
        self._data.clear()
        inputs = [up for channel in range(16) for up in self._all_up(channel, at_ns)]
        for data in self._moved.at_rest():
            inputs += self._channel_inputs(data, at_ns)
        return inputs

    def _begin(self, status: int) -> None:
        self.ignored += len(self._data)
        self._data.clear()
        self._in_exclusive = status == message.SYSTEM_EXCLUSIVE
        self._status = status if message.data_count(status) else None

    def _completes(self, byte: int) -> bool:
        if self._status is None:
            self.ignored += not self._in_exclusive
            return False
        self._data.append(byte)
        return len(self._data) == message.data_count(self._status)

    def _finished(self, at_ns: int) -> list[Input]:
        assert self._status is not None, "only a status makes data bytes a message"
        whole = bytes((self._status, *self._data))
        self._data.clear()
        if self._status >= message.SYSTEM_EXCLUSIVE:
            self._status = None
            return _common_inputs(whole, at_ns)
        return self._channel_inputs(whole, at_ns)

    def _channel_inputs(self, whole: bytes, at_ns: int) -> list[Input]:
        self._moved.passed(whole)
        kind, channel = whole[0] & 0xF0, whole[0] & 0x0F
        if kind == message.NOTE_ON and whole[2]:
            self._down.add((channel, whole[1]))
            return [KeyDown(at_ns, whole[1], whole[2], channel)]
        if kind == message.NOTE_ON:
            self._down.discard((channel, whole[1]))
            return [KeyUp(at_ns, whole[1], channel=channel)]
        if kind == message.NOTE_OFF:
            self._down.discard((channel, whole[1]))
            return [KeyUp(at_ns, whole[1], whole[2], channel)]
        if kind == message.CONTROL_CHANGE and whole[1] >= message.ALL_NOTES_OFF:
            return self._all_up(channel, at_ns)
        if kind == message.CONTROL_CHANGE:
            return _control_inputs(whole[1], whole[2], channel, at_ns)
        return [Passing(at_ns, whole)]

    def _all_up(self, channel: int, at_ns: int) -> list[Input]:
        keys = sorted(key for key in self._down if key[0] == channel)
        self._down.difference_update(keys)
        return [KeyUp(at_ns, note, channel=channel) for _, note in keys]


def _real_time_inputs(status: int, at_ns: int) -> list[Input]:
    return [_REAL_TIME[status](at_ns)] if status in _REAL_TIME else []


def _common_inputs(whole: bytes, at_ns: int) -> list[Input]:
    if whole[0] == message.SONG_POSITION:
        return [SongPosition(at_ns, whole[1] | whole[2] << 7)]  # low seven bits first
    return []


def _control_inputs(number: int, value: int, channel: int, at_ns: int) -> list[Input]:
    if number < message.ALL_SOUND_OFF:
        return [Controller(at_ns, number, value, channel)]
    if number == message.RESET_CONTROLLERS:
        return [
            *(Controller(at_ns, at_rest, level, channel) for at_rest, level in message.AT_REST),
            Passing(at_ns, bytes((message.CHANNEL_PRESSURE | channel, 0))),
            Passing(at_ns, bytes((message.PITCH_BEND | channel, *message.CENTRED_BEND))),
        ]
    return [] if number == message.LOCAL_CONTROL else [Silence(at_ns)]
