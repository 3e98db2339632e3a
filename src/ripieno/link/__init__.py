"""The way to a running daemon: where it listens, and clients that speak to it."""
