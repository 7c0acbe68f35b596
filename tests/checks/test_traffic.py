"""Which links carry traffic in which mode, against what each single step tells of itself."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings

from modecheck.checks.traffic import traffic_of
from modecheck.engine.reference.happenings import Accepted, Arrived
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.generation.devices import Drawn, devices
from tests.models.bundled import SMALL, STARTER, TANDEM, name_of, verdict_on

MOST = 400
"""States of a random device that are looked at."""


def links_by_steps(space: PlainExploration, mode: str) -> set[str]:
    """The same from what the interpreter reports of every step."""
    bit, queues = space.mark(f"mode:{mode}"), space.product.queues
    condition = space.product.conditions[f"mode:{mode}"]
    found = set()
    for number in space.numbered(bit):
        for step in space.found.interpreter.steps(space.state(number)):
            if step.after is None:
                continue
            stays = space.found.interpreter.condition(condition, step.after)
            for one in step.happenings:
                if isinstance(one, Arrived) or (isinstance(one, Accepted) and stays):
                    found.add(queues[one.queue].name)
    return found


@pytest.mark.parametrize("path", [STARTER, *SMALL], ids=name_of)
def test_links_with_traffic_are_those_that_steps_report(path: Path) -> None:
    """The states alone show the same as the interpreter's account of every step."""
    space = explore(compose(read_device(str(path))))
    found = traffic_of(space)
    assert found.complete
    for mode, traffic in found.modes.items():
        assert traffic.links == links_by_steps(space, mode)


@given(devices())
@settings(max_examples=settings().max_examples * 3 // 5)
def test_random_devices_agree_too(drawn: Drawn) -> None:
    """Whatever links do to messages. A picture renewed with what waits already is not seen in the
    states: the link still counts, unless nothing ever takes the picture in this mode.
    """
    space = explore(compose(drawn.read()), max_states=MOST)
    for mode, traffic in traffic_of(space).modes.items():
        assert traffic.links <= links_by_steps(space, mode)


def test_each_mode_of_the_starter_has_its_own_link() -> None:
    """Through the cable where it is plugged in, and by radio where it is not."""
    modes = traffic_of(explore(compose(read_device(str(STARTER))))).modes
    assert {mode: found.links for mode, found in modes.items()} == {
        "wired": {"cord"},
        "radio": {"air"},
    }


@pytest.mark.thorough
def test_nothing_is_on_the_air_while_tandem_is_wired() -> None:
    """As the comment in tandem's device file says; the compiled engine explores it."""
    modes = traffic_of(verdict_on(TANDEM).explored[0].exploration).modes
    assert modes["wired"].links == {"front_cord", "rear_cord", "usb_notes"}
    assert {"front_air", "rear_air"} <= modes["radio"].links
    assert "tablet_down" in modes["bluetooth"].links


@pytest.mark.thorough
def test_agreeing_pairings_are_counted() -> None:
    """The tiles are always paired where a mode is on, the tablet only where it was paired."""
    modes = traffic_of(verdict_on(TANDEM).explored[0].exploration).modes
    assert modes["radio"].agreed["front_pair"] == modes["radio"].states
    assert 0 < modes["radio"].agreed["tablet_pair"] < modes["radio"].states


def test_a_bound_makes_it_incomplete() -> None:
    """Of the first states alone, nothing is said as of all."""
    space = explore(compose(read_device(str(STARTER))))
    found = traffic_of(space, 2)
    assert not found.complete
    assert sum(traffic.states for traffic in found.modes.values()) <= 2
