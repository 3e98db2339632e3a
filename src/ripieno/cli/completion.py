"""`ripieno completion`: what a shell needs to complete the program's words."""

import argparse
from importlib import import_module
from pathlib import Path

import shtab

from ripieno import __version__
from ripieno.style.shipped import all_styles, user_styles_folder
from ripieno.wire.command import TABLE, UNLEARNT

SHELLS = ("bash", "zsh", "fish")
_STYLES = "styles"
# Asked for at each completion, so that a style written since then is there: a tenth of a second.
_STYLE_IDS = shtab.cmd(f"ripieno completion {_STYLES} 2>/dev/null")
_STYLE_METAVARS = ("STYLE", "ID")
_UNTOLD = ("watch",)  # it needs a connection that stays


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "completion",
        help="the script that lets a shell complete commands",
        description="Prints a script for the shell. docs/daemon.md says where it goes. With "
        "'styles', prints the ids of all styles, for which the script asks.",
    )
    parser.add_argument("what", choices=(*SHELLS, _STYLES), help="the shell, or the list of styles")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    if args.what == _STYLES:
        print("\n".join(path.stem for path in all_styles(user_styles_folder())))
    else:
        print(shtab.complete(full_parser(), args.what))
    return 0


def full_parser() -> argparse.ArgumentParser:
    """Every command with its options, and what their values are completed with."""
    from ripieno.cli.entry import COMMANDS  # which imports this file when it is called

    parser = argparse.ArgumentParser(prog="ripieno")
    parser.add_argument("--version", action="version", version=__version__, help="the version")
    commands = parser.add_subparsers(metavar="COMMAND")
    for name in COMMANDS:
        import_module(f"ripieno.cli.{name}").add_parser(commands)
        _mark_values(commands.choices[name])
    _spell_out(commands.choices["tell"])
    return parser


def _mark_values(parser: argparse.ArgumentParser) -> None:
    """Says of each option and argument what it may be; shtab reads it from `complete`."""
    for action in parser._actions:  # argparse has no other way to list them
        is_file = action.type is Path or str(action.metavar).startswith("FILE")
        if action.metavar in _STYLE_METAVARS:
            action.complete = _STYLE_IDS  # type: ignore[attr-defined]
        elif action.metavar == "FOLDER":
            action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]
        elif is_file:
            action.complete = shtab.FILE  # type: ignore[attr-defined]


def _spell_out(tell: argparse.ArgumentParser) -> None:
    """The words of `tell` as commands of its own, where its parser takes any that come."""
    tell._actions[:] = [action for action in tell._actions if action.option_strings]
    told = [row.name for row in TABLE if row.name not in _UNTOLD]
    commands = _with_commands(tell, told)
    for name in ("learn", "forget"):
        _with_commands(commands[name], [name for name in told if name not in UNLEARNT])


def _with_commands(
    parser: argparse.ArgumentParser, names: list[str]
) -> dict[str, argparse.ArgumentParser]:
    subparsers = parser.add_subparsers(metavar="COMMAND")
    for row in TABLE:
        if row.name not in names:
            continue
        command = subparsers.add_parser(row.name, help=row.does, add_help=False)
        if row.name == "style":
            command.add_argument("style", help=row.form).complete = _STYLE_IDS  # type: ignore[attr-defined]
        elif row.fixed:
            command.add_argument("word", choices=row.fixed, help=row.form)
    return dict(subparsers.choices)
