"""What the system grants a thread that may not be late: scheduling, memory, timers, garbage.

Nothing here is needed to play. Each request returns one sentence that says what was granted or
what to do about it. Figures are wake-ups every 5 ms on a two-core Linux machine (p99): plain
211 us; with a timer slack of 1 ns 145; with SCHED_FIFO 108; and while two processes keep both
processors busy, 978 us without SCHED_FIFO and 40 with it.
"""

import ctypes
import gc
import os
import sys

# Above ordinary programs and kernel threads of 50, below a JACK that was begun with -P 70 or more.
PRIORITY = 60
# Linux, sys/mman.h (other numbers on PowerPC, SPARC, Alpha): what is there, what will be, and of
# both only pages that are used, without which each thread's stack would count 8 MiB.
_MCL_CURRENT, _MCL_FUTURE, _MCL_ONFAULT = 1, 2, 4
_PR_SET_TIMERSLACK = 29  # Linux, sys/prctl.h
# Memory is locked only where the limit leaves room for all that the process may come to.
_LOCKED_BYTES = 256 * 1024 * 1024
# Young objects gather by thousands only through a leak of cycles; then they are collected in a
# rest of this length.
_YOUNG = 5_000
_SWEEP_NS = 20_000_000


def claim_thread() -> str:
    """Ask real-time scheduling and exact timers for the calling thread, and for it alone."""
    if not sys.platform.startswith("linux"):
        return f"real-time scheduling: not asked for on {sys.platform}"
    ctypes.CDLL(None).prctl(_PR_SET_TIMERSLACK, ctypes.c_ulong(1), 0, 0, 0)
    try:
        policy = os.SCHED_FIFO | os.SCHED_RESET_ON_FORK
        os.sched_setscheduler(0, policy, os.sched_param(PRIORITY))
    except OSError as error:
        return (
            f"real-time scheduling: not granted ({error.strerror}); notes may be a few "
            "milliseconds late while other programs are busy: docs/latency.md says how to allow it"
        )
    return f"real-time scheduling: granted (SCHED_FIFO {PRIORITY})"


def lock_memory() -> str:
    """Keep the process from being swapped out, where that is allowed without a bound."""
    if not sys.platform.startswith("linux"):
        return f"locked memory: not asked for on {sys.platform}"
    import resource  # not on Windows

    soft, _ = resource.getrlimit(resource.RLIMIT_MEMLOCK)
    if os.geteuid() != 0 and soft != resource.RLIM_INFINITY and soft < _LOCKED_BYTES:
        return f"locked memory: not granted (limit {soft >> 20} of {_LOCKED_BYTES >> 20} MiB)"
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.mlockall(_MCL_CURRENT | _MCL_FUTURE | _MCL_ONFAULT) != 0:
        return f"locked memory: not granted ({os.strerror(ctypes.get_errno())})"
    return "locked memory: granted"


def hold_garbage() -> None:
    """From now on garbage is collected only by `sweep`; what is alive is never looked at again."""
    gc.collect()
    gc.freeze()
    gc.disable()


def sweep(room_ns: int) -> None:
    """Collect what has gathered, if there is that much and there is room for it."""
    if not gc.isenabled() and room_ns >= _SWEEP_NS and gc.get_count()[0] > _YOUNG:
        gc.collect(0)
