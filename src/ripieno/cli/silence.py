"""`ripieno silence`: nothing sounds any more, whether the daemon runs, has ended or was killed."""

import argparse
from pathlib import Path

from ripieno.errors import MachineError
from ripieno.link.client import Client
from ripieno.link.endpoint import SOUNDING, NoDaemonError, own_endpoint, runtime_folder


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    parser = subparsers.add_parser(
        "silence",
        help="silence the daemon, or what one that was killed has left sounding",
        description="Tells a running daemon to be silent. Where none runs, ends what the last "
        "one may have left sounding on its output: each note, the pedals, then the channels.",
    )
    parser.set_defaults(run=run)


def run(_args: argparse.Namespace) -> int:
    """Raises MachineError if something sounds on an output that is not there."""
    try:
        with Client(own_endpoint()) as client:
            client.tell(["silence"])
        print("the daemon is silent")
    except NoDaemonError:
        print(_end_what_was_left(runtime_folder() / SOUNDING))
    return 0


def _end_what_was_left(path: Path) -> str:
    if not path.exists():
        return "nothing was left sounding"
    from ripieno.midi import ports
    from ripieno.midi.lasting import LastingOutput
    from ripieno.midi.sounding import Sounding
    from ripieno.midi.systems import choose

    sounding = Sounding.at(path)
    name, notes = sounding.output, sounding.notes
    if not (sounding.endings() or sounding.doubtful()):
        return "nothing was left sounding"
    if name == ports.OUT.own_name:  # whoever was connected to it is not any more
        sounding.forget()
        return f"{notes} notes were left sounding on '{name}', which has gone with the daemon"
    output = LastingOutput(name or None, sounding)
    output.look(choose())
    opened = output.state
    output.close()
    if opened.name:
        sounding.forget()
    if not opened.name and notes:
        raise MachineError(f"{notes} notes may sound on '{name}', and {opened.why}")
    if not notes:
        return "nothing was left sounding"
    return f"{notes} notes that were left sounding on '{opened.name}' have been ended"
