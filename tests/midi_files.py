"""What MIDI files hold, as mido reads them."""

from pathlib import Path

import mido


def changes_in(path: Path, kind: str) -> list[tuple[int, mido.MetaMessage]]:
    """The messages of one type in a file's first track, each with its tick."""
    tick, found = 0, []
    for message in mido.MidiFile(path).tracks[0]:
        tick += message.time
        if message.type == kind:
            found.append((tick, message))
    return found
