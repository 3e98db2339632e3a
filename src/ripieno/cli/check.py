"""`ripieno check`: every fault of style and configuration files, with its place."""

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from os.path import isdir
from pathlib import Path

from ripieno.configuration import document as configuration_document
from ripieno.configuration.file import NAME as CONFIGURATION_NAME
from ripieno.configuration.load import load_configuration
from ripieno.errors import AuthorError, UsageError
from ripieno.style import document as style_document
from ripieno.style.load import load_style
from ripieno.style.yaml_file import FileError
from ripieno.style.yaml_marks import Fault

_STYLE, _CONFIGURATION = "style", "configuration"


@dataclass(frozen=True, slots=True)
class _Checked:
    """One file: sound if `lines` is empty. `faults` are those of the lines that have a place."""

    file: Path
    summary: str = ""
    lines: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "check",
        help="every fault of style and configuration files with file:line:column",
        description="Checks style files, and configuration files: a file is taken for one if it "
        f"is named {CONFIGURATION_NAME} or --as says so. A folder stands for every *.yaml in it.",
        epilog="Faults go to standard error, one a line. Exit status 1 if there is any.",
    )
    parser.add_argument("files", metavar="FILE", nargs="*", type=Path, help="file or folder")
    parser.add_argument(
        "--as",
        dest="kind",
        choices=[_STYLE, _CONFIGURATION],
        help=f"what the files are (default: {_CONFIGURATION} if named {CONFIGURATION_NAME}, else "
        f"{_STYLE})",
    )
    parser.add_argument("--json", action="store_true", help="a list of objects, one a file")
    parser.add_argument(
        "--schema",
        action="store_true",
        help="print the JSON Schema of style files instead, or that of what --as names",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    if args.schema:
        described = style_document if args.kind != _CONFIGURATION else configuration_document
        print(described.schema_text(), end="")
        return 0
    if not args.files:
        raise UsageError("check has no file; expected one or more: ripieno check FILE...")
    checked = [result for given in args.files for result in _check_all(given, args.kind)]
    if args.json:
        print(json.dumps([_report(result) for result in checked], ensure_ascii=False, indent=2))
    else:
        _print(checked)
    return 1 if any(result.lines for result in checked) else 0


def _check_all(given: Path, kind: str | None) -> list[_Checked]:
    if not isdir(given):  # false too for names that the system cannot hold: Path.is_dir raises
        return [_check(given, kind)]
    files = sorted(given.glob("*.yaml"))
    if not files:
        return [_Checked(given, lines=(f"{given}: found no *.yaml in it; name a file",))]
    return [_check(file, kind) for file in files]


def _check(file: Path, kind: str | None) -> _Checked:
    try:
        return _Checked(file, summary=_SUMMARIES[kind or _kind_by_name(file)](file))
    except FileError as error:
        return _Checked(file, lines=tuple(str(error).splitlines()), faults=error.faults)
    except AuthorError as error:
        return _Checked(file, lines=(str(error),))


def _kind_by_name(file: Path) -> str:
    return _CONFIGURATION if file.name == CONFIGURATION_NAME else _STYLE


def _style_summary(file: Path) -> str:
    style = load_style(file)
    meters = ", ".join(str(meter) for figure in style.figures for meter in figure.meters)
    return f"good: {style.name} ({meters})"


def _configuration_summary(file: Path) -> str:
    configuration = load_configuration(file)
    return f"good: style {configuration.style}, controls: {len(configuration.controls)}"


_SUMMARIES: dict[str, Callable[[Path], str]] = {
    _STYLE: _style_summary,
    _CONFIGURATION: _configuration_summary,
}


def _print(checked: list[_Checked]) -> None:
    for result in checked:
        if result.lines:
            print("\n".join(result.lines), file=sys.stderr)
        else:
            print(f"{result.file}: {result.summary}")


def _report(result: _Checked) -> dict[str, object]:
    return {
        "file": str(result.file),
        "good": not result.lines,
        "faults": [asdict(fault) for fault in result.faults],
        "lines": list(result.lines),
    }
