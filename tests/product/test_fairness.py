"""What a device owes: the sets of steps that happen in the end."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.checks.verdict import check
from modecheck.engine.choice import EngineName, Search
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.generation.devices import device_from

TEXT = """\
device: d
chips:
  hub:
    states: [s, t]
    rules: [{{name: go, send: [hello, bye]{rule}}}, {{name: hears, 'on': ping, to: t}}]
    {chip}
  tile: {{states: [s], discards: [hello], rules: [{{name: takes, 'on': bye}}]}}
actors: {{player: {{states: [s], rules: [{{name: plays, signal: ping}}]{actor}}}}}
links: {{down: {{from: hub, to: tile, carries: [hello, bye], when_full: drop_new{link}}}}}
faults: {{{faults}}}
"""


def product_of(folder: Path, **said: str) -> Product:
    parts = dict.fromkeys(("rule", "chip", "actor", "link", "faults"), "")
    path = folder / "device.yaml"
    path.write_text(TEXT.format(**(parts | said)), encoding="utf-8")
    return compose(read_device(str(path)))


def owed(product: Product) -> dict[str, str]:
    """What happens in the end, and how strongly."""
    return {one.name: "strong" if one.strong else "weak" for one in product.fair}


OWN = {"hub takes go": "weak", "down delivers hello": "weak", "down delivers bye": "weak"}
"""Rules that hear a signal or a message are taken with the step that brings it."""


def test_chips_and_links_owe_and_actors_and_faults_do_not(tmp_path: Path) -> None:
    """A rule that stays possible is taken in the end; a message that waits is delivered."""
    assert owed(product_of(tmp_path)) == OWN


@pytest.mark.parametrize(
    ("said", "different"),
    [
        ({"rule": ", fair: strong"}, {"hub takes go": "strong"}),
        ({"chip": "fair: strong"}, {"hub takes go": "strong"}),
        ({"rule": ", fair: weak", "chip": "fair: strong"}, {}),
        ({"actor": ", fair: weak"}, {"player takes plays": "weak"}),
        (
            {"link": ", fair: strong"},
            {"down delivers hello": "strong", "down delivers bye": "strong"},
        ),
        ({"faults": "lose: {links: [down], at_most: 2}"}, {}),
        (
            {"faults": "lose: {links: [down]}"},
            {"down delivers hello": "strong", "down delivers bye": "strong"},
        ),
        ({"faults": "lose: {links: [down]}", "link": ", fair: weak"}, {}),
    ],
)
def test_what_is_said_and_what_is_lost_change_it(
    tmp_path: Path, said: dict[str, str], different: dict[str, str]
) -> None:
    """A link that may lose any number delivers what waits again and again; a rule that speaks for
    itself outdoes its chip.
    """
    assert owed(product_of(tmp_path, **said)) == OWN | different


@pytest.mark.parametrize(
    ("said", "gone"),
    [
        ({"rule": ", fair: none"}, ["hub takes go"]),
        ({"chip": "fair: none"}, ["hub takes go"]),
        ({"link": ", fair: none"}, ["down delivers hello", "down delivers bye"]),
    ],
)
def test_what_is_not_owed_has_no_set(tmp_path: Path, said: dict[str, str], gone: list[str]) -> None:
    """`fair: none` leaves it free."""
    kept = {name: fair for name, fair in OWN.items() if name not in gone}
    assert owed(product_of(tmp_path, **said)) == kept


def test_a_delivery_counts_whatever_the_chip_does_with_it(tmp_path: Path) -> None:
    """Taken by a rule or discarded, the message has arrived; each message has labels of its own."""
    product = product_of(tmp_path)
    texts = {one.name: {product.labels[label].text for label in one.labels} for one in product.fair}
    assert texts["down delivers hello"] == {"down to tile, discarded"}
    assert any("takes" in text for text in texts["down delivers bye"])
    hello, bye = (one.labels for one in product.fair if one.name.startswith("down"))
    assert not hello & bye


ALTERNATING = """
device: one rule or the other
chips:
  lamp: {{states: [red, green], rules: [{{in: red, to: green}}, {{in: green, to: red}}]}}
  hub:
    states: {{waiting: {{}}, done: {{rest: true}}}}
    rules:
      - {{name: by_red, in: waiting, if: lamp.red, to: done}}
      - {{name: by_green, in: waiting, if: lamp.green, to: done}}
    fair: {fair}
requirements: {{R1: {{text: the hub gets there, eventually: hub.done}}}}
"""

CHOOSING = """
device: always the same rule
chips:
  hub:
    states: [here]
    variables: {{one: bool, other: bool}}
    rules: [{{name: one, do: one = not one}}, {{name: other, do: other = true}}]
    fair: {fair}
requirements: {{R1: {{text: the other rule is taken, eventually: hub.other}}}}
"""


@pytest.mark.parametrize("engine", ["plain", "compiled"])
@pytest.mark.parametrize(
    ("text", "fair", "verdict"),
    [
        (ALTERNATING, "weak", "broken"),
        (ALTERNATING, "whole", "holds"),
        (ALTERNATING, "strong", "holds"),
        (CHOOSING, "weak", "holds"),
        (CHOOSING, "whole", "broken"),
        (CHOOSING, "none", "broken"),
    ],
)
def test_a_chip_as_a_whole_is_not_each_of_its_rules(
    text: str, fair: str, verdict: str, engine: EngineName
) -> None:
    """Weak fairness of a process: it goes on if some step of it stays possible, whichever; weak
    fairness of each rule says so of each by itself (Francez, Fairness, 1986, from memory).
    """
    (judged,) = check(
        [device_from(text.format(fair=fair))], search=Search(engine=engine)
    ).requirements
    assert judged.verdict == verdict


def test_a_rule_with_a_fairness_of_its_own_is_not_among_the_others() -> None:
    """The others are one set."""
    text = CHOOSING.replace("do: other = true", "do: other = true, fair: strong")
    assert owed(compose(device_from(text.format(fair="whole")))) == {
        "hub takes one of its rules": "weak",
        "hub takes other": "strong",
    }
