"""Imports only go down: the architecture, checked.

The table is the design's: theory knows no time, the performer no I/O, only `midi` meets the MIDI
libraries, only `cli` prints and exits.
"""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import ripieno

ROOT = Path(ripieno.__file__).parent
FILES = sorted(ROOT.rglob("*.py"))

# Each part of the package, and the parts that it may import besides itself. The package's own
# __init__ (its version) is open to all; __main__ stands above them.
LEAVES = {"errors", "units"}
MUSIC = LEAVES | {"theory", "style", "arrange"}
MAY_IMPORT = {
    "__init__": set(),
    "__main__": {"cli"},
    "errors": set(),
    "units": {"errors"},
    "theory": LEAVES,
    "style": LEAVES | {"theory"},
    "arrange": MUSIC,
    "perform": MUSIC,
    "wire": LEAVES | {"theory"},
    "link": LEAVES | {"wire"},
    "configuration": MUSIC | {"perform", "wire"},
    "midi": MUSIC | {"perform"},
    "engine": MUSIC | {"perform", "midi"},
    "host": MUSIC | {"perform", "midi", "engine", "wire", "link", "configuration"},
    "dashboard": LEAVES | {"theory", "wire", "link"},
    "latency": MUSIC | {"perform", "midi", "engine", "host", "wire", "link"},
    "cli": MUSIC
    | {
        "perform",
        "midi",
        "engine",
        "wire",
        "link",
        "configuration",
        "host",
        "latency",
        "dashboard",
    },
}
# Begun by another process of the program, and ending with a status for it or for a child's.
PROCESSES = {ROOT / "engine" / "process.py", ROOT / "latency" / "screen.py"}
BARE_ECHO = ROOT / "latency" / "echo.py"
PURE = {"errors", "units", "theory", "arrange", "perform", "wire"}
IMPURE = {
    "asyncio", "concurrent", "datetime", "io", "logging", "multiprocessing", "os", "pathlib",
    "queue", "secrets", "select", "selectors", "shutil", "signal", "socket", "subprocess", "sys",
    "tempfile", "threading", "time",
}  # fmt: skip


def part_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def in_parts(*parts: str) -> list[Path]:
    return [path for path in FILES if part_of(path) in parts]


def tree(path: Path) -> Iterator[ast.AST]:
    return ast.walk(ast.parse(path.read_text(encoding="utf-8")))


def imports(path: Path) -> set[str]:
    """Dotted names; `from a import b` is `a.b`."""
    found: set[str] = set()
    for node in tree(path):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def packages(path: Path) -> set[str]:
    return {name.partition(".")[0] for name in imports(path)}


def test_every_part_of_the_package_has_a_layer_and_every_layer_a_part() -> None:
    assert {part_of(path) for path in FILES} == set(MAY_IMPORT)


@pytest.mark.parametrize("path", FILES, ids=name_of)
def test_a_module_imports_only_parts_below_it(path: Path) -> None:
    ours = {name.split(".")[1] for name in imports(path) if name.startswith("ripieno.")}
    part = part_of(path)
    assert ours - {"__version__"} <= MAY_IMPORT[part] | {part}


@pytest.mark.parametrize("path", in_parts(*PURE), ids=name_of)
def test_a_pure_module_has_no_clock_no_files_no_threads_and_no_third_party(path: Path) -> None:
    assert not packages(path) & IMPURE
    assert packages(path) - {"ripieno"} <= sys.stdlib_module_names
    called = {n.func.id for n in tree(path) if isinstance(n, ast.Call) and hasattr(n.func, "id")}
    assert not called & {"open", "input"}


@pytest.mark.parametrize("path", in_parts(*PURE), ids=name_of)
def test_a_pure_module_has_only_luck_that_is_seeded(path: Path) -> None:
    assert {name for name in imports(path) if name.startswith("random")} <= {"random.Random"}


def test_only_the_midi_folder_imports_the_midi_libraries() -> None:
    # And the bare echo, which is there to be compared with a way that has none of our code.
    outside = [path for path in FILES if part_of(path) != "midi" and path != BARE_ECHO]
    assert not [path for path in outside if packages(path) & {"mido", "rtmidi"}]


def test_only_what_is_named_by_its_date_reads_a_clock_that_can_be_set() -> None:
    """time(2) and its kin jump when somebody sets the clock; no note goes by them."""
    can_be_set = {f"time.{name}" for name in ("time", "time_ns", "localtime", "gmtime", "strftime")}
    can_be_set |= {f"datetime.{name}" for name in ("now", "utcnow", "today")}
    found = {
        name_of(path)
        for path in FILES
        for node in tree(path)
        if isinstance(node, ast.Attribute) and ast.unparse(node) in can_be_set
    }
    assert found == {str(Path("cli", "latency.py")), str(Path("host", "sessions.py"))}


def test_the_loop_that_may_not_wait_imports_nothing_that_does() -> None:
    waits = {"asyncio", "io", "logging", "os", "pathlib", "select", "socket", "subprocess", "yaml"}
    assert not packages(ROOT / "engine" / "loop.py") & waits


def is_of_sys(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id in {"sys", "os"}
        and node.attr in {"exit", "_exit", "stdout", "stderr"}
    )


def test_only_the_command_line_prints_and_exits() -> None:
    speaks = {
        name_of(path)
        for path in FILES
        if part_of(path) not in {"cli", "__main__"} and path not in PROCESSES
        for node in tree(path)
        if (isinstance(node, ast.Name) and node.id in {"print", "exit", "quit", "SystemExit"})
        or is_of_sys(node)
    }
    assert speaks == set()


def test_broad_handlers_stand_in_three_places_at_most() -> None:
    broad = [
        name_of(path)
        for path in FILES
        for node in tree(path)
        if isinstance(node, ast.ExceptHandler)
        and (
            node.type is None
            or (isinstance(node.type, ast.Name) and node.type.id in {"Exception", "BaseException"})
        )
    ]
    assert len(broad) <= 3, broad
