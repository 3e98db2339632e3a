"""The configuration file on the disk: where it is, how it is written, whether it has changed."""

import os
import stat
import tempfile
from pathlib import Path

from platformdirs import user_config_path

from ripieno.errors import MachineError

NAME = "config.yaml"
ENVIRONMENT = "RIPIENO_CONFIG"

_Stamp = tuple[int, int, int]


def default_path() -> Path:
    """The file that RIPIENO_CONFIG names, else the one in the platform's folder for them."""
    named = os.environ.get(ENVIRONMENT)
    return Path(named) if named else user_config_path("ripieno", appauthor=False) / NAME


def write_default(path: Path) -> None:
    """Write the defaults with their explanation where no file is; one that is there stays.

    The folder is created for its owner alone. Raises MachineError.
    """
    from ripieno.configuration.default import default_text  # pydantic: 100 ms

    target = _target(path)
    try:
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        is_there = target.exists()
    except OSError as error:
        raise _unwritten(path, error) from None
    if not is_there:
        save(path, default_text())


def save(path: Path, text: str) -> None:
    """Write the file as a whole or not at all; its mode stays, a new one is its owner's alone.

    Of a symbolic link the target is written. Raises MachineError.
    """
    target = _target(path)
    try:
        mode = stat.S_IMODE(target.stat().st_mode) if target.exists() else 0o600
        _replace(target, text.encode("utf-8"), mode)
    except OSError as error:
        raise _unwritten(path, error) from None


class Watch:
    """A file that is looked at now and then. What has changed is seen once.

    Begin before the file is read, so that what is written meanwhile is seen the next time.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._seen = _stamp(path)
        self._is_there = self._seen is not None
        self._is_untold = False

    def changed(self) -> bool:
        """Whether another file or another content is there than at the last call.

        A file that has gone is no change, for editors take one away before they put the next.
        """
        now = _stamp(self._path)
        if now is None:
            self._is_untold = self._is_untold or self._is_there
            self._is_there = False
            return False
        self._is_there, self._is_untold = True, False
        if now == self._seen:
            return False
        self._seen = now
        return True

    def vanished(self) -> bool:
        """Whether the last `changed` found the file gone; said once until it is there again."""
        told, self._is_untold = self._is_untold, False
        return told


def _stamp(path: Path) -> _Stamp | None:
    try:
        found = path.stat()
    except (OSError, ValueError):  # ValueError: a NUL in the name
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def _target(path: Path) -> Path:
    """Where the file itself is: a link to it is left as it is."""
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError) as error:
        raise _unwritten(path, error) from None


def _replace(target: Path, data: bytes, mode: int) -> None:
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, mode)
        os.replace(name, target)
    except OSError:
        os.unlink(name)
        raise


def _unwritten(path: Path, error: Exception) -> MachineError:
    what = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return MachineError(
        f"{str(path)!r}: the configuration cannot be written ({what}); make its folder writable, "
        f"or name another file in {ENVIRONMENT}"
    )
