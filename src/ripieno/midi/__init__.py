"""MIDI bytes, ports and files: the only folder that imports rtmidi or mido."""
