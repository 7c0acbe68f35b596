"""A folder of YAML files that a test writes and reads."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from modecheck.model.devices import read_device
from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.parts import Chip, Device

Files = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Folder:
    """Writes a device file and the files that it names, and reads it as the tool does."""

    path: Path

    def write(self, text: str, files: Files | None = None) -> str:
        """The path of the device file, after writing it and the others."""
        for name, content in {"device.yaml": text, **(files or {})}.items():
            target = self.path / name
            target.parent.mkdir(exist_ok=True)
            target.write_text(textwrap.dedent(content), encoding="utf-8")
        return str(self.path / "device.yaml")

    def device(
        self, text: str, files: Files | None = None, chosen: Mapping[str, str] | None = None
    ) -> Device:
        """The device that the text describes."""
        return read_device(self.write(text, files), chosen)

    def chip(self, body: str, *, beside: str = "") -> Chip:
        """A chip whose body stands in braces, in a device with a tile that may send to it."""
        return self.device(around(body, beside=beside)).chips["hub"]

    def errors(self, text: str, files: Files | None = None) -> tuple[InputError, ...]:
        """What is wrong with the text; the test fails when nothing is."""
        with pytest.raises(InvalidInput) as caught:
            self.device(text, files)
        return caught.value.errors

    def error(self, text: str, files: Files | None = None) -> str:
        """The only error in the text, as people read it, without its folder."""
        errors = self.errors(text, files)
        assert len(errors) == 1, "\n".join(map(str, errors))
        return str(errors[0]).replace(f"{self.path}/", "")

    def chip_error(self, body: str) -> str:
        """The only error in the body of a chip, as people read it."""
        return self.error(around(body))


def around(body: str, *, beside: str = "") -> str:
    """A device around the body of its chip hub; the tile sends `hello` and `keys` (0 to 3)."""
    return f"""\
device: sample
chips:
  hub: {{{body}}}
  tile:
    variables: {{bond: {{bond: true}}, pressed: bool}}
    states: {{alone: {{rest: true}}, linked: {{initial: fresh, states: [fresh, old]}}}}
    rules: [{{signal: ping, send: [hello, keys(3)]}}]
links:
  up: {{from: tile, to: hub, carries: {{hello: event, keys: {{range: [0, 3]}}}}}}
  down: {{from: hub, to: tile, carries: [welcome, bye], when_full: drop_new}}
  side: {{from: hub, to: tile, carries: [bye], when_full: drop_new}}
{beside}
"""
