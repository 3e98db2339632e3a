"""What surrounds the engine: its process, as the program around it sees it."""
