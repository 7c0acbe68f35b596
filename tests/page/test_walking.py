"""The free walk: what can happen next, and where it leads, is what the interpreter says."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from playwright.sync_api import Browser

from modecheck.checks.verdict import check
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.report.page import page_as_html
from modecheck.report.page.page_walks import PageWalk, WalkLimits
from modecheck.scenario.sentences import sentence
from tests.generation.devices import device_from
from tests.models.bundled import SMALL, TANDEM, TWINS, name_of, verdict_on
from tests.page.browsing import SHOWN, opened
from tests.page.conftest import PageOf
from tests.page.test_stepping import check_shown
from tests.scenario.test_passing_time import BLINKING
from tests.sweeps import sweep

STEPS = 100
RICH = next(path for path in SMALL if path.stem == "handshake")
FAILING = next(path for path in TWINS if path.stem == "queue_exhausted")
STRUCK = next(path for path in TWINS if path.stem == "update_interrupted")
EDGE = "This is the edge of what the page holds"


STROLL = f"""dice => dice.map(number => {{
  const shown = ({SHOWN})();
  const buttons = document.querySelectorAll('button.choice');
  const chosen = buttons[Math.floor(number * buttons.length)];
  (chosen || document.getElementById('go-back')).click();
  return {{shown, chosen: chosen ? chosen.querySelector('bdi').textContent : null}};
}})"""
"""A walk in which each number from 0 to 1 chooses a step; where none is offered it goes back."""


TO_THE_EDGE = """() => {
  const { walk } = JSON.parse(document.getElementById('model-data').textContent).variants[0];
  const trails = new Map([[0, []]]);
  for (const [state, trail] of trails) {
    const flat = walk.steps[state] || [];
    for (let at = 0; at < flat.length; at += 2) {
      const [telling, after] = [walk.tellings[flat[at]], flat[at + 1]];
      if (!trails.has(after)) trails.set(after, [...trail, telling[3]]);
    }
  }
  const [, trail] = [...trails].find(([state]) => state >= 0 && !walk.steps[state]);
  for (const sentence of trail) {
    [...document.querySelectorAll('button.choice')]
      .find((button) => button.querySelector('bdi').textContent === sentence).click();
  }
}"""
"""Presses the buttons of a shortest trail to a state whose steps the page does not hold."""


def rows_of(product: Product, steps: list[Step]) -> list[str]:
    """What heads the row of each step: whose step it is, or whom it strikes."""
    heads = []
    for label in (product.labels[step.label] for step in steps):
        if label.kind in ("deliver", "discard", "lose", "duplicate"):
            heads.append(f"{product.queues[label.queue].name} link")
        elif label.kind in ("tick", "idle"):
            heads.append("time")
        else:
            chip = product.chips[label.chip]
            heads.append(f"{chip.name} {'actor' if chip.actor else 'chip'}")
    return [head.strip() for head in heads]


@pytest.mark.thorough
@pytest.mark.parametrize(
    "model",
    sweep([RICH, FAILING, STRUCK, TANDEM], lambda model: model in (RICH, FAILING)),
    ids=name_of,
)
def test_a_hundred_random_steps_agree_with_the_interpreter(
    model: Path, browser: Browser, page_of: PageOf
) -> None:
    """At every state the page offers exactly the interpreter's steps, each as a button in the row
    of whoever takes it or is struck by it, and leads where the interpreter does.
    """
    product = verdict_on(model).explored[0].exploration.product
    interpreter = Interpreter(product)
    dice = Random(7)  # noqa: S311 - no secret depends on it
    with opened(browser, page_of(model)) as page:
        page.open_stage("[data-walk]")
        log = page.page.evaluate(STROLL, [dice.random() for _ in range(STEPS + 100)])
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
        stands = zip(place["shown"]["rows"], place["shown"]["choices"], strict=True)
        assert sorted(stands) == sorted(zip(rows_of(product, offered), told, strict=True))
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


@pytest.mark.thorough
def test_the_edge_of_what_is_held_is_told(browser: Browser, page_of: PageOf) -> None:
    """Outside of what is embedded the page says how much it holds, and offers nothing."""
    with opened(browser, page_of(TANDEM)) as page:
        page.open_stage("[data-walk]")
        page.page.evaluate(TO_THE_EDGE)
        assert EDGE in page.page.locator("#remark").inner_text()
        assert page.page.locator("button.choice").count() == 0


@pytest.mark.thorough
def test_a_scenario_is_left_by_another_step_and_joined_again(
    browser: Browser, page_of: PageOf
) -> None:
    """From any step any button leads off the scenario, and going back leads to it again."""
    way = verdict_on(TANDEM).explored[0].switches[0].trace
    assert way is not None
    product = verdict_on(TANDEM).explored[0].exploration.product
    state = way.moves[2].after
    assert state is not None
    with opened(browser, page_of(TANDEM), anchor="#modes") as page:
        page.open_stage('[data-open="0"]')
        for _ in range(3):
            page.press("ArrowRight")
        steps = Interpreter(product).steps(state)
        told = [sentence(product, step) for step in steps]
        assert sorted(page.shown()["choices"]) == sorted(told)
        for back in ("click", "ArrowLeft"):
            page.page.locator("button.choice:not(.planned)").first.press("Enter")
            assert "off the scenario since step 3" in page.page.locator("#position").inner_text()
            assert (page.shown()["position"], page.shown()["planned"]) == (4, [])
            if back == "click":
                page.page.locator("#go-return").click()
            else:
                page.press(back)
            assert page.shown()["position"] == 3
            check_shown(page.shown(), product, state)
            assert page.page.locator("#position").inner_text() == f"step 3 of {len(way.moves)}"
        page.press("End")
        assert page.shown()["position"] == len(way.moves)


def test_the_keyboard_alone_follows_a_scenario_by_its_buttons(
    browser: Browser, page_of: PageOf
) -> None:
    """After a step the focus is at the next one of the scenario, so that Enter goes on."""
    with opened(browser, page_of(TANDEM)) as page:
        page.open_stage('[data-open="0"]')
        page.page.focus("button.planned")
        for position in range(1, 7):
            page.press("Enter")
            assert page.shown()["position"] == position
        assert page.page.locator("#go-return").is_hidden()


def test_an_own_walk_can_be_gone_back_and_forth(browser: Browser, page_of: PageOf) -> None:
    """Steps of the reader's choice stay known until another one is chosen."""
    with opened(browser, page_of(RICH)) as page:
        page.open_stage("[data-walk]")
        for _ in range(3):
            page.page.locator("button.choice").first.click()
        there = page.shown()
        page.press("Home")
        page.press("End")
        assert page.shown() == there
        page.press("Home")
        page.page.locator("button.choice").last.click()
        assert page.page.locator("#position").inner_text() == "step 1 of 1"


@pytest.mark.thorough
def test_time_has_a_row_of_its_own(browser: Browser, tmp_path: Path) -> None:
    """Where it can pass its button stands there; where others come first, words say so."""
    device = device_from(BLINKING)
    product = (verdict := check([device])).explored[0].exploration.product
    file = tmp_path / "page.html"
    file.write_text(page_as_html(verdict), encoding="utf-8")
    state = product.initial
    with opened(browser, file) as page:
        page.open_stage("[data-walk]")
        row = page.page.locator('#now tr[data-key="time"]')
        seen = set()
        for _ in range(25):
            kinds = {product.labels[step.label].kind for step in Interpreter(product).steps(state)}
            assert row.locator("button.choice").count() == ("tick" in kinds)
            assert ("cannot pass before" in row.inner_text()) == ("tick" not in kinds)
            seen.add("tick" in kinds)
            told = page.shown()["choices"][0]
            steps = Interpreter(product).steps(state)
            after = next(step.after for step in steps if sentence(product, step) == told)
            assert after is not None
            state = after
            page.page.locator("button.choice").first.click()
        assert True in seen
        assert page.troubles == []


@pytest.mark.thorough
def test_the_bounds_of_a_walk_hold() -> None:
    """No more states are expanded than there is room for, and bytes count, too."""
    product = verdict_on(TANDEM).explored[0].exploration.product
    by_states, by_size = PageWalk(product), PageWalk(product)
    by_states.grow(WalkLimits(states=50))
    by_size.grow(WalkLimits(size=10_000))
    assert by_states.held == 50
    assert 0 < by_size.held < 200


ANYHOW = """
device: anyhow
chips:
  tile:
    variables: {level: {range: [0, 2], start: [0, 2]}}
    states: {on: {rest: true}}
    rules:
      down: {if: level > 0, do: [level -= 1]}
"""


def test_a_walk_begins_before_the_start_where_there_are_several() -> None:
    """The first choice is how the device begins; only then are there steps. One of the starts has
    none, and nothing leads back to the choice.
    """
    product = compose(device_from(ANYHOW))
    walk = PageWalk(product)
    walk.grow(WalkLimits())
    kinds = [kind for kind, *_ in walk.tellings]
    targets = [steps[1::2] for steps in walk.steps if steps is not None]
    assert targets == [[1, 2], [], [3], [1]]
    assert kinds == ["start", "start", "rule"]
