"""The free walk: what can happen next, and where it leads, is what the interpreter says."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from playwright.sync_api import Browser

from modecheck.engine.plain import Interpreter, State
from modecheck.report.page.walks import Room, Walk
from modecheck.scenario.words import sentence
from tests.models.bundled import SMALL, TANDEM, TWINS, name_of, verdict_on
from tests.page.browsing import SHOWN, opened
from tests.page.conftest import PageOf
from tests.page.test_stepping import check_shown

STEPS = 100
RICH = next(path for path in SMALL if path.stem == "handshake")
FAILING = next(path for path in TWINS if path.stem == "queue_exhausted")
EDGE = "This is the edge of what the page holds"


STROLL = f"""dice => dice.map(number => {{
  const shown = ({SHOWN})();
  const buttons = document.querySelectorAll('button.choice');
  const chosen = buttons[Math.floor(number * buttons.length)];
  (chosen || document.getElementById('go-back')).click();
  return {{shown, chosen: chosen ? chosen.querySelector('bdi').textContent : null}};
}})"""
"""A walk in which each number from 0 to 1 chooses a step; where none is offered it goes back."""


@pytest.mark.parametrize("model", [RICH, FAILING, TANDEM], ids=name_of)
def test_a_hundred_random_steps_agree_with_the_interpreter(
    model: Path, browser: Browser, page_of: PageOf
) -> None:
    """At every state the page offers exactly the interpreter's steps, and leads where it does."""
    product = verdict_on(model).explored[0].exploration.product
    interpreter = Interpreter(product)
    dice = Random(7)  # noqa: S311 - no secret depends on it
    with opened(browser, page_of(model)) as page:
        page.open_stage("[data-walk]")
        log = page.page.evaluate(STROLL, [dice.random() for _ in range(STEPS + 40)])
        assert page.troubles == []
    trail: list[State | None] = [product.initial]
    taken = 0
    for place in log:
        state = trail[-1]
        if state is not None:
            check_shown(place["shown"], product, state)
        offered = [] if state is None else interpreter.steps(state)
        if place["chosen"] is None:
            assert state is None or not offered or model == TANDEM
            trail.pop()
            continue
        told = [sentence(product, step) for step in offered]
        assert sorted(place["shown"]["choices"]) == sorted(told)
        trail.append(offered[told.index(place["chosen"])].after)
        assert len(set(told)) == len(told)
        taken += 1
    assert taken >= STEPS


def test_a_small_product_is_held_wholly(browser: Browser, page_of: PageOf) -> None:
    """Every state of it can be left, and the page says so."""
    count = verdict_on(RICH).explored[0].exploration.state_count
    with opened(browser, page_of(RICH)) as page:
        assert f"all {count} states can be walked" in page.page.locator("#walk").inner_text()
        held = page.page.evaluate(
            "JSON.parse(document.getElementById('model-data').textContent)"
            ".variants[0].walk.steps.filter(steps => steps).length"
        )
        assert held == count


def test_the_edge_of_what_is_held_is_told(browser: Browser, page_of: PageOf) -> None:
    """Outside of what is embedded the page says how much it holds, and offers nothing."""
    with opened(browser, page_of(TANDEM)) as page:
        page.open_stage("[data-walk]")
        for _ in range(60):
            edges = page.page.locator("button.choice", has_text="to the edge of this page")
            fresh = page.page.locator("button.choice").filter(has_not_text="back to")
            if edges.count():
                edges.first.click()
                break
            fresh.last.click()
        assert EDGE in page.page.locator("#choices").inner_text()
        assert page.page.locator("button.choice").count() == 0


def test_a_walk_goes_on_from_a_step_of_a_scenario_and_returns(
    browser: Browser, page_of: PageOf
) -> None:
    """The successors of a scenario's states are there, and the way back to the scenario too."""
    way = verdict_on(TANDEM).explored[0].switches[0].way
    assert way is not None
    product = verdict_on(TANDEM).explored[0].exploration.product
    state = way.moves[2].after
    assert state is not None
    with opened(browser, page_of(TANDEM), anchor="#modes") as page:
        page.open_stage('[data-open="0"]')
        for _ in range(3):
            page.press("ArrowRight")
        page.page.locator("#go-walk").click()
        steps = Interpreter(product).steps(state)
        told = [sentence(product, step) for step in steps]
        assert sorted(page.shown()["choices"]) == sorted(told)
        page.page.locator("button.choice").first.click()
        assert page.shown()["position"] == 4
        page.page.locator("#go-return").click()
        assert page.shown()["position"] == 3
        check_shown(page.shown(), product, state)


def test_the_bounds_of_a_walk_hold() -> None:
    """No more states are expanded than there is room for, and bytes count, too."""
    product = verdict_on(TANDEM).explored[0].exploration.product
    by_states, by_size = Walk(product), Walk(product)
    by_states.grow(Room(states=50))
    by_size.grow(Room(size=10_000))
    assert by_states.held == 50
    assert 0 < by_size.held < 200
