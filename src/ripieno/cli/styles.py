"""`ripieno styles`: the styles there are, or one of them in plain words."""

import argparse
import json
import sys
from pathlib import Path

from ripieno.errors import AuthorError
from ripieno.style.account import account
from ripieno.style.load import load_style
from ripieno.style.model import Style
from ripieno.style.shipped import all_styles, find_style, user_styles_folder


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "styles",
        help="the styles, or one explained",
        description="Lists the styles, or says in plain words what one of them does.",
    )
    parser.add_argument("id", metavar="ID", nargs="?", help="a style's id, or the path of a file")
    parser.add_argument("--json", action="store_true", help="a list of objects")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    if args.id is not None:
        path = find_style(args.id, user_styles_folder())
        style = load_style(path)
        _print_json([(path, style)]) if args.json else print(account(style))
        return 0
    found, broken = _load_all(all_styles(user_styles_folder()))
    if args.json:
        _print_json(found)
    else:
        print("\n".join(_table([style for _, style in found])))
    for error in broken:
        print(error, file=sys.stderr)
    return 1 if broken else 0


def _load_all(paths: list[Path]) -> tuple[list[tuple[Path, Style]], list[AuthorError]]:
    """The styles that load, and why the others do not: one bad file hides no good one."""
    found, broken = [], []
    for path in paths:
        try:
            found.append((path, load_style(path)))
        except AuthorError as error:
            broken.append(error)
    return found, broken


def _meters(style: Style) -> list[str]:
    return [str(meter) for figure in style.figures for meter in figure.meters]


def _print_json(found: list[tuple[Path, Style]]) -> None:
    objects = [
        {
            "id": style.id,
            "name": style.name,
            "use": style.use,
            "suits": list(style.suits),
            "meters": _meters(style),
            "file": str(path),
        }
        for path, style in found
    ]
    print(json.dumps(objects, ensure_ascii=False, indent=2))


def _table(styles: list[Style]) -> list[str]:
    """Aligned columns; the last one is as long as its text."""
    head = ("ID", "METERS", "SUITS", "USE")
    rows = [head, *((s.id, " ".join(_meters(s)), " ".join(s.suits), s.use) for s in styles)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head) - 1)]
    return [
        "  ".join([*(cell.ljust(width) for cell, width in zip(row, widths, strict=False)), row[-1]])
        for row in rows
    ]
