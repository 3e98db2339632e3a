"""The real-time loop: the driver that gives the performer a clock and ports."""
