"""No test fails for being slow: how long things take is for benchmarks to say."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
