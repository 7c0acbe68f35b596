"""The key `fair`: which steps happen in the end."""

from __future__ import annotations

import pytest

from modecheck.model.parts import Device
from tests.model.folder import Folder

TEXT = """\
device: d
chips: {{hub: {{states: [s], rules: [{{send: hello{rule}}}], discards: [ping]{chip}}}}}
actors: {{player: {{states: [s], rules: [{{signal: ping}}]{actor}}}}}
links: {{down: {{from: hub, to: player, carries: [hello]{link}}}}}
"""
PARTS = ("rule", "chip", "actor", "link")


def text_of(**said: str) -> str:
    return TEXT.format(**{part: f", fair: {said[part]}" if part in said else "" for part in PARTS})


def said_in(device: Device) -> tuple[str, ...]:
    """What the rule, the chip, the actor and the link say."""
    hub, player = device.chips["hub"], device.chips["player"]
    return hub.rules[0].fair, hub.fair, player.fair, device.links["down"].fair


def test_nothing_is_said_by_default(folder: Folder) -> None:
    """What a device owes then is decided where it is composed."""
    assert said_in(folder.device(text_of())) == ("", "", "", "")
    assert said_in(folder.device(text_of(rule="~", link="~"))) == ("", "", "", "")


@pytest.mark.parametrize("fair", ["weak", "strong", "none"])
@pytest.mark.parametrize("part", PARTS)
def test_each_part_says_it_for_itself(folder: Folder, part: str, fair: str) -> None:
    """A rule, all rules of a chip or of an actor, the deliveries of a link."""
    told = said_in(folder.device(text_of(**{part: fair})))
    assert told == tuple(fair if one == part else "" for one in PARTS)


def test_a_chip_file_says_it_and_an_overlay_changes_it(folder: Folder) -> None:
    """As with any other key."""
    files = {
        "c.yaml": "chip: c\nfair: strong\nstates: [s]\nrules: {go: {signal: ping, fair: none}}"
    }
    plain = folder.device("device: d\nchips: {hub: {file: c.yaml}}\n", files)
    assert (plain.chips["hub"].fair, plain.chips["hub"].rules[0].fair) == ("strong", "none")
    over = "device: d\nchips: {hub: {file: c.yaml, fair: weak, rules: {go: {fair: ~}}}}\n"
    laid = folder.device(over, files)
    assert (laid.chips["hub"].fair, laid.chips["hub"].rules[0].fair) == ("weak", "")


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize(
    ("fair", "told"),
    [
        ("week", "did you mean 'weak'?"),
        ("[weak]", "a list cannot be used as fair"),
        ("true", "'true' cannot be used as fair"),
    ],
)
def test_other_words_are_told(folder: Folder, part: str, fair: str, told: str) -> None:
    """There are three."""
    assert told in folder.error(text_of(**{part: fair}))
