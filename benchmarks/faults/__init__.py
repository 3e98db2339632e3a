"""The fault suite: what a stage does to a daemon, done on purpose and counted."""
