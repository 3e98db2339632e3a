"""How long messages take on the wire of a DIN port (MIDI 1.0 electrical specification).

A byte is ten bits (a start bit, eight, a stop bit) at 31,250 a second: 320 microseconds. With
*running status* the status byte is sent only where it differs from the message's before.
"""

from collections.abc import Sequence

BYTE_NS = 320_000


def wire_ns(messages: Sequence[bytes], *, running_status: bool) -> int:
    """From the first bit to the last of channel messages that are sent at once."""
    length, before = 0, None
    for data in messages:
        length += len(data) - (running_status and data[0] == before)
        before = data[0]
    return length * BYTE_NS
