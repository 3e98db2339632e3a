"""What the daemon plays with from its start, in a file that people edit while it plays."""
