"""No test fails for being slow: how long things take is for benchmarks to say.

Properties are tried with few examples each time, for there are many of them and every run draws
others. `--hypothesis-profile=thorough` tries many.
"""

from hypothesis import settings

settings.register_profile("patient", deadline=None, max_examples=50)
settings.register_profile("thorough", deadline=None, max_examples=1000)
settings.load_profile("patient")
