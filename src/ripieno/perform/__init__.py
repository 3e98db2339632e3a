"""The sans-I/O performer: state machines that are told the time and never read it."""
