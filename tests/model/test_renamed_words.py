"""Old words of a model: none works, and whoever writes one is told the new name and the place."""

from __future__ import annotations

import pytest

from tests.model.folder import Folder

DEVICE = """\
device: d
chips:
  hub: {states: {s: {rest: true}}, rules: [{'on': ping}], %s}
actors: {player: {states: [here], rules: [{signal: ping}]}}
"""
RULE = DEVICE.replace("'on': ping", "%s").replace("], %s", "]")


@pytest.mark.parametrize(
    ("old", "new"),
    [("ignores: [ping]", "discards"), ("tags: [radio]", "concerns")],
)
def test_an_old_key_of_a_chip(folder: Folder, old: str, new: str) -> None:
    """It is no alias: the device is refused."""
    told = folder.error(DEVICE % old)
    name = old.split(":")[0]
    assert told.startswith("device.yaml:3:")
    assert f"{name!r} is called {new!r} now" in told
    assert f"expected {new!r}" in told


@pytest.mark.parametrize(
    ("old", "new"),
    [("raise: [pong]", "signal"), ("every: 1 ms", "period"), ("tags: [radio]", "concerns")],
)
def test_an_old_key_of_a_rule(folder: Folder, old: str, new: str) -> None:
    """With the place of the key."""
    told = folder.error(RULE % old)
    assert f"{old.split(':')[0]!r} is called {new!r} now" in told
    assert "▔▔▔▔" in told


def test_an_old_event(folder: Folder) -> None:
    """In an expression of a requirement."""
    need = "requirements: {R: {text: x, never: raised(ping)}}\n"
    told = folder.error(DEVICE % "about: it" + need)
    assert "device.yaml:5:" in told
    assert "'raised' is called 'signalled' now" in told
    assert "▔▔▔▔▔▔" in told


@pytest.mark.parametrize(
    "section", ["expect: [{finding: %s}]", "accepted: [{finding: %s, reason: x}]"]
)
def test_an_old_code_of_a_finding(folder: Folder, section: str) -> None:
    """In what is accepted or expected; else an acceptance would silently never apply."""
    old = '"unhandled-message:hub.s.ping"'
    told = folder.error(DEVICE % "about: it" + section % old + "\n")
    assert "'unhandled-message' is called 'unspecified-reception' now" in told
