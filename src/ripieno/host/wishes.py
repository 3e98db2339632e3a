"""What the player wants: the configuration file, and what was said instead when it began."""

import os
from collections.abc import Collection, Mapping
from dataclasses import replace
from pathlib import Path

from ripieno.configuration.edit import with_control, without_control
from ripieno.configuration.file import Watch, save, write_default
from ripieno.configuration.load import load_configuration, text_of
from ripieno.configuration.model import Configuration, Control, changed, settings_for
from ripieno.engine.rig import Rig
from ripieno.errors import AuthorError, RipienoError
from ripieno.host.library import Library
from ripieno.perform.chosen import Chosen
from ripieno.wire.command import Command, words_of

# Where a setting is not called as the configuration's key is.
_SETTINGS = {"tempo": "bpm"}
_NOT_MUSIC = {"input", "output", "sound", "style", "journals", "controls"}


class Wishes:
    """For one thread at a time.

    `faults` are sentences: what is wrong with the file at the beginning, for which the defaults
    stand in. A rig on a stage has to play, whatever somebody has typed.
    """

    def __init__(self, path: Path, instead: Mapping[str, object], library: Library) -> None:
        """`instead` has fields of a configuration and their values."""
        self.path = path
        self.library = library
        self.faults: list[str] = []
        self._instead = dict(instead)
        self._watch = Watch(path)
        self.configuration = self._first()
        self.chosen = self._first_chosen()

    @property
    def rig(self) -> Rig:
        wanted = self.configuration
        return Rig(None, wanted.input, wanted.output, wanted.sound)

    def has_changed(self) -> bool:
        """Whether the file has, since it was last asked."""
        return self._watch.changed()

    def loss(self) -> str | None:
        """A sentence, once, if `has_changed` has found the file gone."""
        return f"{self.path} is gone; what it said is kept" if self._watch.vanished() else None

    def read_again(self) -> frozenset[str]:
        """The fields in which the file now differs. Raises AuthorError, and nothing changes."""
        now = self._merged(load_configuration(self.path))
        names = frozenset(changed(self.configuration, now))
        if "style" in names:
            self.library.style(now.style)
        self.configuration = now
        return names

    def chosen_with(self, names: Collection[str], chosen: Chosen) -> Chosen:
        """`chosen` with what those fields of the configuration say."""
        wanted = self.configuration
        style = self.library.style(wanted.style) if "style" in names else chosen.style
        said = settings_for(wanted, style.own_meter)
        fields = [_SETTINGS.get(name, name) for name in names if name not in _NOT_MUSIC]
        changes = {field: getattr(said, field) for field in fields}
        return Chosen(replace(chosen.settings, **changes), style)

    def keep(self, control: Control) -> None:
        """Write it into the file. Raises AuthorError, MachineError.

        The next look finds the file changed, as by anybody: it may have been, just before.
        """
        save(self.path, with_control(text_of(self.path), control))

    def drop(self, do: Command) -> None:
        """Take the controls that do it out of the file, as `keep`."""
        save(self.path, without_control(text_of(self.path), words_of(do)))

    def _first(self) -> Configuration:
        try:
            if not os.path.exists(self.path):  # Path's own raises where a folder is closed to us
                write_default(self.path)
                self._watch.changed()  # by ourselves
        except RipienoError as fault:
            self.faults.append(str(fault))
        try:
            return self._merged(load_configuration(self.path))
        except AuthorError as fault:
            self.faults.append(f"{fault}; the defaults stand in for it")
            return self._merged(Configuration())

    def _first_chosen(self) -> Chosen:
        wanted = self.configuration
        try:
            style = self.library.style(wanted.style)
        except AuthorError as fault:
            if "style" in self._instead:
                raise
            style = self.library.style(Configuration().style)
            self.faults.append(f"{fault}; '{style.id}' stands in for it")
        return Chosen(settings_for(wanted, style.own_meter), style)

    def _merged(self, configuration: Configuration) -> Configuration:
        return replace(configuration, **self._instead)  # type: ignore[arg-type]
