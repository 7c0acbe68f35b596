"""Devices that the tests of outputs check, and how."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import read_device, variants
from tests.cli.running import MODELS

TODAY = date(2026, 11, 25)
FEW = Search(engine="plain", limits=Limits(states=3))
"""Stops long before the end."""

SMALL_TWINS = (
    "silent_plug", "unheard_of", "volatile_bond", "stale_replay", "usurpation", "queue_exhausted",
    "advertising_never_restarts", "asks_for_what_never_is", "order_of_two_writes", "no_way_back",
)  # fmt: skip
"""Faulty twins that are checked in no time."""

ODD = """\
device: "odd | `name` <b>&</b> *x*"
chips:
  hub:
    states: {"off": {rest: true}, dark: {rest: true}}
    variables: {lit: {range: [0, 1]}}
    rules:
      fall: {in: "off", to: dark, if: "lit in [0, 1]", text: "goes <i>dark</i> | now [x](y) _z_"}
requirements:
  never_dark: {text: "It is | never <script> `dark` #1", never: hub.dark, builds_on: [lit]}
  lit: {text: "Always lit", always: hub.lit == 0}
  maybe: {text: "Never put to the test", whenever: hub.lit == 1, then: hub.dark}
accepted:
  - {finding: "broken-requirement:never_dark", reason: "we | live <with> it", until: 2026-12-31}
"""
"""Invented: names full of marks, an accepted finding, and a requirement that is vacuous."""


def twin(name: str) -> str:
    """A faulty twin's file."""
    return str(MODELS / "faulty" / f"{name}.yaml")


def checked(path: str, search: Search | None = None, *, every: bool = False) -> Verdict:
    """The verdict on a file, in its first variant or in all."""
    first = read_device(path)
    devices = [read_device(path, choice) for choice in variants(first)] if every else [first]
    return check(devices, search=search, today=TODAY)


def checked_text(text: str, folder: Path, search: Search | None = None) -> Verdict:
    """The verdict on a device with this text."""
    (folder / "device.yaml").write_text(text, encoding="utf-8")
    return checked(str(folder / "device.yaml"), search)
