"""The harness with which players measure the latency of their own rig."""
