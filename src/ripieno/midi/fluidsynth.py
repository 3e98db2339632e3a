"""FluidSynth's library, bound by ctypes: the few of its functions that are called here.

The library and not the program of the same name, whose shell takes commands on a pipe. Measured
with 2.3.1 and three busy processes on two cores, the caller's thread real-time: a note-on by the
library took 0.05 ms at the 99th percentile, by the program 4.6 ms, for its shell's thread is not
real-time. Its pipes, of which one repeats every command, can also fill and block the caller.

The signatures are those of FluidSynth 2's reference (fluidsynth.org/api).
"""

import contextlib
import ctypes
import ctypes.util
import functools
import shutil
import sys
from collections.abc import Iterable, Iterator
from ctypes import c_char_p, c_double, c_int, c_void_p
from pathlib import Path

from ripieno.errors import MachineError

FAILED = -1  # as a result; most functions return 0 when they succeed
PLAYING = 1  # a player's status

_Log = ctypes.CFUNCTYPE(None, c_int, c_char_p, c_void_p)
_UNHEARD = _Log()  # a null pointer: the message is dropped
_LEVELS = range(5)  # panic, error, warning, information, debugging
_ERROR = 1

# Each function's result, then its arguments.
_SIGNATURES: dict[str, tuple[object, ...]] = {
    "fluid_version_str": (c_char_p,),
    "fluid_set_log_function": (c_void_p, c_int, _Log, c_void_p),
    "new_fluid_settings": (c_void_p,),
    "delete_fluid_settings": (None, c_void_p),
    "fluid_settings_setint": (c_int, c_void_p, c_char_p, c_int),
    "fluid_settings_setnum": (c_int, c_void_p, c_char_p, c_double),
    "fluid_settings_setstr": (c_int, c_void_p, c_char_p, c_char_p),
    "fluid_settings_copystr": (c_int, c_void_p, c_char_p, c_char_p, c_int),
    "fluid_settings_option_concat": (c_char_p, c_void_p, c_char_p, c_char_p),
    "new_fluid_synth": (c_void_p, c_void_p),
    "delete_fluid_synth": (None, c_void_p),
    "fluid_synth_sfload": (c_int, c_void_p, c_char_p, c_int),
    "fluid_synth_noteoff": (c_int, c_void_p, c_int, c_int),
    "fluid_synth_noteon": (c_int, c_void_p, c_int, c_int, c_int),
    "fluid_synth_key_pressure": (c_int, c_void_p, c_int, c_int, c_int),
    "fluid_synth_cc": (c_int, c_void_p, c_int, c_int, c_int),
    "fluid_synth_program_change": (c_int, c_void_p, c_int, c_int),
    "fluid_synth_channel_pressure": (c_int, c_void_p, c_int, c_int),
    "fluid_synth_pitch_bend": (c_int, c_void_p, c_int, c_int),
    "fluid_synth_sysex": (c_int, c_void_p, c_char_p, c_int, c_void_p, c_void_p, c_void_p, c_int),
    "fluid_synth_get_active_voice_count": (c_int, c_void_p),
    "fluid_synth_write_s16": (c_int, c_void_p, c_int, *(c_void_p, c_int, c_int) * 2),
    "new_fluid_audio_driver": (c_void_p, c_void_p, c_void_p),
    "delete_fluid_audio_driver": (None, c_void_p),
    "new_fluid_player": (c_void_p, c_void_p),
    "delete_fluid_player": (None, c_void_p),
    "fluid_player_add": (c_int, c_void_p, c_char_p),
    "fluid_player_play": (c_int, c_void_p),
    "fluid_player_get_status": (c_int, c_void_p),
    "fluid_player_get_current_tick": (c_int, c_void_p),
    "fluid_player_get_total_ticks": (c_int, c_void_p),
}


@functools.cache
def library() -> ctypes.CDLL:
    """FluidSynth 2 or later. Raises MachineError where there is none."""
    return load(_names())


def load(names: Iterable[str]) -> ctypes.CDLL:
    """The first of the libraries called `names` that there is. Raises MachineError."""
    for name in names:
        with contextlib.suppress(OSError):
            loaded = ctypes.CDLL(name)
            break
    else:
        raise MachineError(
            "no sound of its own without FluidSynth: install 'fluidsynth' (Debian, Fedora), "
            "'fluid-synth' (Homebrew) or, on Windows, FluidSynth 2 with its folder in PATH"
        )
    for function, (result, *arguments) in _SIGNATURES.items():
        getattr(loaded, function).restype = result
        getattr(loaded, function).argtypes = arguments
    _log_to(loaded, _UNHEARD)
    return loaded


def _names() -> Iterator[str]:
    """Where the library may be: what the system finds, and beside the program on the PATH."""
    found = ctypes.util.find_library("fluidsynth") or ctypes.util.find_library("libfluidsynth-3")
    if found:
        yield found
    program = shutil.which("fluidsynth")
    if program and sys.platform == "win32":
        yield str(Path(program).with_name("libfluidsynth-3.dll"))
    elif program:
        suffix = "dylib" if sys.platform == "darwin" else "so.3"
        yield str(Path(program).resolve().parent.parent / "lib" / f"libfluidsynth.{suffix}")


@contextlib.contextmanager
def complaints() -> Iterator[list[str]]:
    """Collects the errors the library reports meanwhile; at other times it is mute.

    Only for opening and for offline work: a report is a call into Python, which would make an
    audio thread wait for whatever Python is doing.
    """
    said: list[str] = []

    def hear(level: int, text: bytes, _data: object) -> None:
        if level <= _ERROR:
            said.append(text.decode(errors="replace"))

    callback = _Log(hear)
    _log_to(library(), callback)
    try:
        yield said
    finally:
        _log_to(library(), _UNHEARD)


def _log_to(loaded: ctypes.CDLL, callback: object) -> None:
    for level in _LEVELS:
        loaded.fluid_set_log_function(level, callback, None)
