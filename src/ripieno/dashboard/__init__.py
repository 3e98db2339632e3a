"""The screen for a running daemon: what is played, and every control."""
