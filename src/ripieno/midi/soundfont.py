"""Which SoundFont to play: a piano of the machine's if it has one, else the one shipped.

SoundFont files hold the instruments of a synthesizer (SoundFont Technical Specification 2.01;
`.sf3` is the same with compressed samples).
"""

import os
import struct
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO

import platformdirs

from ripieno.errors import MachineError

VARIABLE = "RIPIENO_SOUNDFONT"

_SHIPPED = Path("presets", "soundfont", "struck-string.sf2")
_PRESET = struct.Struct("<20sHH14x")  # name, program, bank: section 7.2 of the specification


def find_soundfont(
    asked_for: Path | None = None,
    environment: Mapping[str, str] = os.environ,
    folders: Sequence[Path] | None = None,
) -> tuple[Path, str]:
    """The font to play and, for people, why it is that one.

    The first of: `asked_for`, the file that VARIABLE names, the first piano in `folders` (those
    of `font_folders` unless given), the font that comes with the program. Raises MachineError
    if one that was named is not there.
    """
    if asked_for is not None:
        return _named(asked_for, "it was asked for")
    if environment.get(VARIABLE):
        return _named(Path(environment[VARIABLE]), f"{VARIABLE} names it")
    for path in _candidates(font_folders() if folders is None else folders):
        if has_piano(path):
            return path, f"{path} is played, for it is the first piano among this machine's fonts"
    path = shipped_soundfont()
    return path, f"{path.name}, ripieno's own, is played, for this machine has no font of a piano"


def font_folders() -> tuple[Path, ...]:
    """Where fonts are kept, the user's own first. Not all exist.

    The system's are those of the packages of Debian (sounds/sf2, sounds/sf3), Fedora and Arch
    (soundfonts) and Homebrew, and FluidSynth's default on Windows.
    """
    own = platformdirs.user_data_path("ripieno", appauthor=False) / "soundfonts"
    if sys.platform == "win32":
        return own, Path("C:/soundfonts")
    system = (Path("/opt/homebrew/share"), Path("/usr/local/share"), Path("/usr/share"))
    shares = (platformdirs.user_data_path(), *system)
    kinds = ("soundfonts", "sounds/sf2", "sounds/sf3")
    return own, *(share / kind for share in shares for kind in kinds)


def shipped_soundfont() -> Path:
    """The font that comes with the program, from the package or from a checkout."""
    package = Path(__file__).parents[1]
    for root in (package, package.parents[1]):
        if (root / _SHIPPED).is_file():
            return root / _SHIPPED
    raise MachineError(f"{package / _SHIPPED} is missing: install ripieno again")


def has_piano(path: Path) -> bool:
    """Whether `path` is a SoundFont whose bank 0, program 0 calls itself a piano.

    That is what General MIDI has there, but a font may hold anything.
    """
    try:
        with path.open("rb") as file:
            presets = _presets(file)
    except OSError:
        return False
    name = presets.get((0, 0), "").casefold()
    return "piano" in name or "grand" in name


def _named(path: Path, why: str) -> tuple[Path, str]:
    if not path.is_file():
        raise MachineError(f"no SoundFont file '{path}' ({why}): name one that is there")
    return path, f"{path} is played, for {why}"


def _candidates(folders: Sequence[Path]) -> Iterator[Path]:
    """The fonts in `folders`, in each one first what the system calls its default."""
    for folder in folders:
        found = [path for path in folder.glob("*") if path.suffix.casefold() in (".sf2", ".sf3")]
        yield from sorted(found, key=lambda path: (not path.stem.startswith("default"), path.name))


def _presets(file: BinaryIO) -> dict[tuple[int, int], str]:
    """Names by (bank, program); empty if the file is no SoundFont."""
    head = file.read(12)
    if head[:4] != b"RIFF" or head[8:] != b"sfbk":
        return {}
    for kind, size in _chunks(file):
        if kind == b"phdr":
            records = file.read(size)
            whole = len(records) // _PRESET.size * _PRESET.size
            return {
                (bank, program): name.split(b"\0")[0].decode("latin-1")
                for name, program, bank in _PRESET.iter_unpack(records[: whole - _PRESET.size])
            }
    return {}


def _chunks(file: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """The chunks from where `file` stands, those inside lists too: kind and size of each.

    At each the file stands at its data; it need not be left there.
    """
    while len(head := file.read(8)) == 8:
        kind, size = struct.unpack("<4sI", head)
        if kind == b"LIST":
            file.seek(4, os.SEEK_CUR)
            continue
        following = file.tell() + size + size % 2
        yield kind, size
        file.seek(following)
