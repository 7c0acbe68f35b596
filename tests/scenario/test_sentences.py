"""A step in words: few are pinned, and all must name who moved."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from hypothesis import given, settings

from modecheck.checks.verdict import check
from modecheck.engine.reference.happenings import Took
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from modecheck.scenario.sentences import sentence
from modecheck.scenario.telling import ToldStep
from tests.generation.devices import Drawn, device_from, devices

EXAMPLES = settings().max_examples


@given(devices())
@settings(max_examples=EXAMPLES)
def test_every_step_has_a_sentence_that_names_who_moved(drawn: Drawn) -> None:
    """One line without a full stop, in which every chip that took a rule occurs."""
    space = explore(compose(drawn.read()), max_states=100)
    product = space.product
    for number in range(space.state_count):
        for step in space.found.interpreter.steps(space.state(number)):
            text = sentence(product, step)
            assert text == " ".join(text.split())
            assert text
            assert not text.endswith(".")
            words = set(re.findall(r"\w+", text))
            for happening in step.happenings:
                if isinstance(happening, Took):
                    assert product.chips[happening.chip].name in words


DEVICE = """
device: told
chips:
  bridge:
    states: {idle: {rest: true}, calling: {rest: true}}
    rules:
      - {in: idle, after: 20 ms, send: [hello], to: calling}
      - {in: calling, on: welcome, to: idle}
  hub:
    variables: {bond: {bond: 2, persistent: true}, guests: {range: [0, 3]}}
    states: {idle: {rest: true}, linked: {rest: true}}
    rules:
      - {in: idle, on: hello, do: [bond = 1, guests += 1], to: linked, steps: separate}
      - {in: linked, on: lamp_out, to: idle}
actors:
  player:
    states: {here: {}}
    rules: [{text: switches the lamp off, signal: [lamp_out]}]
links:
  up: {from: bridge, to: hub, carries: [hello], can: [lose]}
  down: {from: hub, to: bridge, carries: [welcome]}
faults: {power_cut: {chips: [hub], at_most: 1}}
requirements:
  %s
"""


def scenario(requirement: str) -> Sequence[ToldStep]:
    """The scenario of the one broken requirement."""
    verdict = check([device_from(DEVICE % requirement)], today=date(2026, 1, 1))
    (finding,) = (one for one in verdict.findings if one.code == "broken-requirement")
    assert finding.trace is not None
    return finding.scenario


def test_timers_deliveries_and_changes_are_told() -> None:
    """Who waited how long, what was sent and received, what changed."""
    told = scenario("R: {text: Nobody calls, never: hub.linked}")
    assert [step.text for step in told] == [
        "bridge has waited 20 ms in idle, goes from idle to calling and sends hello over up",
        "hub receives hello over up and goes from idle to linked",
    ]
    assert told[1].changes == ("hub.bond none → 1", "hub.guests 0 → 1")


def test_people_are_told_by_what_they_do() -> None:
    """An actor's phrase stands first, then who hears it."""
    told = scenario("R: {text: Guests stay, never: hub.idle and hub.guests > 0}")
    assert told[-1].text == (
        "the player switches the lamp off: hub hears lamp_out and goes from linked to idle"
    )


def test_faults_are_told() -> None:
    """A loss and a power cut say what was hit."""
    lost = scenario(
        "R: {text: Calls arrive, never: bridge.calling and hub.idle and hub.bond == none}"
    )
    assert lost[-1].text.startswith("bridge has waited")
    cut = scenario("R: {text: Bonds are counted, never: hub.bond == 1 and hub.guests == 0}")
    assert cut[-1].text.startswith("hub ")
    assert "loses power" in cut[-1].text


def test_label_says_what_the_sentence_says() -> None:
    """Beside the sentence stands the label of the step, as it is counted."""
    told = scenario("R: {text: Nobody calls, never: hub.linked}")
    assert [step.label for step in told] == ["bridge idle:after", "up to hub idle:hello"]
