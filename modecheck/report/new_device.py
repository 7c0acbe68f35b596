"""The files of a first model: a small device of the user's own, to be changed line by line.

Its parts read something and report to the main chip, which talks to a host by one of several ways:
by the cable when that is plugged in, otherwise by radio or Bluetooth. Everything that the templates
in `new/` leave open stands in `NewDevice`.
"""

from __future__ import annotations

from dataclasses import dataclass

KNOWN_WAYS = ("cable", "radio", "bluetooth")
"""How the main chip can reach the host; the first one without a cable is used at power on."""
MODES = {"cable": "wired", "radio": "radio", "bluetooth": "bluetooth"}
MOST_PARTS = 6
"""Each multiplies the states: more of them make a first model slow, and say nothing new."""

SCHEMAS = ("device", "chip")


@dataclass(frozen=True, slots=True)
class NewDevice:
    """What a user says of the device: its chips (the last is the main one), the ways to the host
    (in the order of `KNOWN_WAYS`), whether those without a cable need a pairing, and who acts.
    """

    name: str
    chips: tuple[str, ...]
    ways: tuple[str, ...]
    paired: bool
    person: str

    @property
    def parts(self) -> tuple[str, ...]:
        return self.chips[:-1]

    @property
    def main(self) -> str:
        return self.chips[-1]

    @property
    def airs(self) -> list[str]:
        """The ways without a cable."""
        return [way for way in self.ways if way != "cable"]

    @property
    def others(self) -> list[str]:
        """The states of the main chip in which no cable is plugged in, the initial one first."""
        return [f"by_{way}" for way in self.airs] or ["unplugged"]

    @property
    def disturbing(self) -> list[str]:
        """The signals without which a release must still be heard."""
        plugging = ["plugged_in", "pulled_out"] if "cable" in self.ways else []
        turning = ["turned"] if len(self.airs) > 1 else []
        return [f"{self.parts[0]}_pressed", *plugging, *turning]

    def all_via(self, way: str) -> str:
        """The sends that report everything anew."""
        return ", ".join(f"{part}_report({part}_down) via {way}" for part in self.parts)


def files_of(new: NewDevice) -> dict[str, str]:
    """The text of each file by its path in the new folder."""
    from importlib.resources import files

    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader(__package__, "new"),
        autoescape=False,  # noqa: S701 - what is made is YAML and Python, and names are identifiers
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    cable = "cable" in new.ways
    words = {
        "new": new,
        "name": new.name,
        "chips": list(new.chips),
        "parts": list(new.parts),
        "main": new.main,
        "ways": list(new.ways),
        "airs": new.airs,
        "cable": cable,
        "modes": MODES,
        "person": new.person,
        "paired": new.paired and bool(new.airs),
    }
    templates = {
        "device.yaml": "device.yaml",
        f"{new.main}.yaml": "main.yaml",
        "part.yaml": "part.yaml",
        "host.yaml": "host.yaml",
        "test_device.py": "test_device.py",
        "ci.yaml": "ci.yaml",
    }
    made = {
        path: environment.get_template(f"{template}.jinja").render(words)
        for path, template in templates.items()
    }
    schemas = files("modecheck.model") / "schema"
    for kind in SCHEMAS:
        path = f"schema/{kind}.json"
        made[path] = (schemas / f"{kind}.json").read_text(encoding="utf-8")
    return made
