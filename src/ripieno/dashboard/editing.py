"""A style in the user's own editor: the copy that is made of a shipped one, and the editor."""

import asyncio
import os
import shlex
import shutil
import signal
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from platformdirs import user_config_path

from ripieno.dashboard.finding import ListedStyle
from ripieno.errors import MachineError

# Where neither variable is set. Our choice: what a system calls its editor, then plain ones.
_OTHERS = ("notepad",) if sys.platform == "win32" else ("editor", "nano", "vi")


def own_file(style: ListedStyle) -> Path:
    """The user's file of a style; a shipped one is copied there first, if there is none yet.

    A style of the user's goes before a shipped one of the same id. Raises MachineError.
    """
    if style.own:
        return Path(style.file)
    mine = user_config_path("ripieno", appauthor=False) / "styles" / f"{style.id}.yaml"
    try:
        mine.parent.mkdir(parents=True, exist_ok=True)
        text = Path(style.file).read_bytes()
        with suppress(FileExistsError), mine.open("xb") as new:  # made since it was listed
            new.write(text)
    except OSError as error:
        raise MachineError(
            f"{style.file} cannot be copied to {mine}: {error.strerror}; make that folder writable"
        ) from None
    return mine


def editor(environ: Mapping[str, str]) -> list[str]:
    """$VISUAL, else $EDITOR (common practice), else what there is. Raises MachineError."""
    for name in ("VISUAL", "EDITOR"):
        if environ.get(name, "").strip():
            return _words(name, environ[name])
    for program in _OTHERS:
        if shutil.which(program):
            return [program]
    raise MachineError("no editor is known; set EDITOR to the name of yours, and begin again")


async def edit(path: Path, command: Sequence[str]) -> None:
    """Returns when the editor has ended. Raises MachineError if it cannot be begun or fails.

    The terminal must be the editor's meanwhile. Who cancels this ends the editor too.
    """
    with _interrupts_are_the_editors():
        try:
            process = await asyncio.create_subprocess_exec(*command, os.fspath(path))
        except OSError as error:
            raise MachineError(
                f"the editor '{command[0]}' cannot be begun: {error.strerror}; set EDITOR to "
                "another"
            ) from None
        try:
            status = await process.wait()
        except asyncio.CancelledError:
            process.terminate()
            raise
    if status != 0:
        raise MachineError(f"the editor '{command[0]}' ended with status {status}")


def _words(name: str, text: str) -> list[str]:
    try:
        return shlex.split(text)
    except ValueError as fault:
        raise MachineError(f"{name} is '{text}': {fault}; set it to a command") from None


@contextmanager
def _interrupts_are_the_editors() -> Iterator[None]:
    """Ctrl-C reaches all programs of the terminal; a handler, unlike SIG_IGN, is not inherited."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, lambda *_: None)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
