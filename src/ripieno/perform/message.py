"""MIDI 1.0 messages as bytes: what is sent, and what a whole message is.

Channels are 0..15 here (people count 1..16), data bytes 0..127. The byte values and lengths
are those of the MIDI 1.0 summary of messages.
"""

NOTE_OFF = 0x80
NOTE_ON = 0x90
POLY_PRESSURE = 0xA0
CONTROL_CHANGE = 0xB0
PROGRAM_CHANGE = 0xC0
CHANNEL_PRESSURE = 0xD0
PITCH_BEND = 0xE0

SYSTEM_EXCLUSIVE = 0xF0
END_OF_EXCLUSIVE = 0xF7
FIRST_REALTIME = 0xF8  # F8..FF: one byte each, allowed between the bytes of anything else

SONG_POSITION = 0xF2
CLOCK, CLOCK_START, CLOCK_CONTINUE, CLOCK_STOP = 0xF8, 0xFA, 0xFB, 0xFC
ACTIVE_SENSING = 0xFE

MODULATION = 1
EXPRESSION = 11
SUSTAIN = 64
PORTAMENTO = 65
SOSTENUTO = 66
SOFT = 67
HOLD_2 = 69
HOLDING = (SUSTAIN, SOSTENUTO, HOLD_2)  # pedals that keep notes sounding

# What a controller is when nobody touches it: what reset all controllers sets, by the MIDI
# Manufacturers' recommended practice RP-015 (from memory; makers' implementation charts agree).
# Volume and pan, which it leaves as they are, have none.
AT_REST = (
    (MODULATION, 0),
    (EXPRESSION, 127),
    (SUSTAIN, 0),
    (PORTAMENTO, 0),
    (SOSTENUTO, 0),
    (SOFT, 0),
    *((parameter_number, 127) for parameter_number in (98, 99, 100, 101)),
)

# Channel mode messages: control changes that speak to the channel, not to a controller.
ALL_SOUND_OFF = 120
RESET_CONTROLLERS = 121
LOCAL_CONTROL = 122
ALL_NOTES_OFF = 123  # 124..127, omni and mono/poly, act as all notes off too

CENTRED_BEND = bytes((0x00, 0x40))  # 0x2000 of 0x3FFF, low seven bits first

_CHANNEL_DATA = {
    NOTE_OFF: 2,
    NOTE_ON: 2,
    POLY_PRESSURE: 2,
    CONTROL_CHANGE: 2,
    PROGRAM_CHANGE: 1,
    CHANNEL_PRESSURE: 1,
    PITCH_BEND: 2,
}
_SYSTEM_DATA = {0xF1: 1, 0xF2: 2, 0xF3: 1, 0xF6: 0}  # quarter frame, position, song, tune
_UNDEFINED_REALTIME = {0xF9, 0xFD}


def data_count(status: int) -> int | None:
    """How many data bytes follow `status`, 80..F7; None if nothing of a known length does."""
    if status < SYSTEM_EXCLUSIVE:
        return _CHANNEL_DATA.get(status & 0xF0)
    return _SYSTEM_DATA.get(status)


def silence(channel: int) -> list[bytes]:
    """What makes a synthesizer forget all that a channel may still sound.

    The pedals first: all notes off does not end notes that a pedal holds (MIDI 1.0).
    """
    return [control(channel, number, 0) for number in (*HOLDING, ALL_NOTES_OFF, ALL_SOUND_OFF)]


def is_legal(data: bytes) -> bool:
    """Whether `data` is exactly one complete MIDI 1.0 message, its status byte included."""
    if not data:
        return False
    status, rest = data[0], data[1:]
    if status >= FIRST_REALTIME:
        return not rest and status not in _UNDEFINED_REALTIME
    if status == SYSTEM_EXCLUSIVE:
        return rest[-1:] == bytes((END_OF_EXCLUSIVE,)) and rest[:-1].isascii()
    return data_count(status) == len(rest) and rest.isascii()


def note_on(channel: int, note: int, velocity: int) -> bytes:
    """Start `note`; velocity 1..127, for MIDI 1.0 reads a note-on of velocity 0 as a note-off."""
    assert velocity > 0, "a note-on of velocity 0 is a note-off"
    return _channel_message(NOTE_ON, channel, note, velocity)


def note_off(channel: int, note: int, velocity: int = 64) -> bytes:
    """End `note`. 64 is MIDI 1.0's release velocity of what does not measure it."""
    return _channel_message(NOTE_OFF, channel, note, velocity)


def control(channel: int, number: int, value: int) -> bytes:
    """A control change, 0..119, or from 120 a channel mode message."""
    return _channel_message(CONTROL_CHANGE, channel, number, value)


def _channel_message(kind: int, channel: int, first: int, second: int) -> bytes:
    assert 0 <= channel <= 15, f"no channel {channel}"
    data = bytes((kind | channel, first, second))
    assert (first | second) < 0x80, f"no MIDI message: {data.hex(' ')}"
    return data
