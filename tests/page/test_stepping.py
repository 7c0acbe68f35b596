"""Scenarios stepped by keyboard: every picture of a step agrees with the interpreter's replay."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from modecheck.draw.sequence_chart import SequenceChart, sequence_svg
from modecheck.engine.reference.plain import State
from modecheck.product.ir import Product
from modecheck.report.page.pictures import without_style
from modecheck.scenario.replay import Move, replay
from modecheck.scenario.sentences import sentence
from modecheck.scenario.sequence import sequence_of
from modecheck.scenario.traces import Trace
from tests.models.bundled import STARTER, TANDEM, TWINS, name_of, verdict_on
from tests.page.browsing import opened
from tests.page.conftest import PageOf
from tests.sweeps import sweep


def leaves(product: Product, state: State) -> dict[str, str]:
    """The innermost state of every chip."""
    return {chip.name: chip.leaves[state[chip.state_field]] for chip in product.chips}


def values(product: Product, state: State) -> dict[str, str]:
    """Every variable of every chip, spelled."""
    return {
        field.name: field.type.spell(value)
        for field, value in zip(product.fields, state, strict=True)
        if field.type is not None and field.owner >= 0
    }


def states_along(product: Product, way: Trace) -> Iterator[State]:
    """The state before the way and after each step; after a failing step the one before it."""
    here = product.initial
    yield here
    for taken in replay(product, way.moves):
        here = here if taken.step.after is None else taken.step.after
        yield here


def ways_of(model: Path) -> list[Trace]:
    """The ways on a page, in its order: of findings, then of switches."""
    verdict = verdict_on(model)
    ways = [finding.trace for finding in verdict.findings if finding.trace is not None]
    for one in verdict.explored:
        ways += [switch.trace for switch in one.switches if switch.trace is not None]
    return ways


def marked_in_chart(product: Product, moves: Sequence[Move]) -> int:
    """The step that is marked after these moves: of ticks that follow each other the first."""
    ticks = [product.labels[move.label].kind == "tick" for move in moves]
    begins = [
        n for n, tick in enumerate(ticks, start=1) if not (tick and ticks[n - 2 : n - 1] == [True])
    ]
    return begins[-1] if begins else 0


def check_shown(shown: dict[str, Any], product: Product, state: State) -> None:
    """The table shows this state, and so does the statechart in it, if one is open."""
    expected = leaves(product, state)
    assert shown["chips"] == expected
    assert shown["variables"] == values(product, state)
    assert shown["charts"] == [[chip, expected[chip]] for chip, *_ in shown["charts"]]


FEW = {"volatile_bond", "late_answer"}


@pytest.mark.parametrize(
    "model",
    sweep([TANDEM, *TWINS], lambda model: name_of(model) in FEW),
    ids=name_of,
)
def test_a_scenario_is_stepped_to_its_end_by_keyboard(
    model: Path, browser: Browser, page_of: PageOf
) -> None:
    """For tandem and each faulty twin: at each state the step that comes next is marked at its
    button. The network is off, and nothing goes wrong.
    """
    product = verdict_on(model).explored[0].exploration.product
    ways = ways_of(model)
    told = [sentence(product, taken.step) for taken in ways[0].steps]
    again = told[ways[0].loop_from - 1 : ways[0].loop_from] if ways[0].loop_from else []
    with opened(browser, page_of(model)) as page:
        page.open_stage('[data-open="0"]')
        for position, state in enumerate(states_along(product, ways[0])):
            if position:
                page.press("ArrowRight")
            shown = page.shown()
            assert shown["position"] == position
            assert shown["planned"] == (told[position : position + 1] or again)
            check_shown(shown, product, state)
            assert shown["bands"] == [marked_in_chart(product, ways[0].moves[:position])]
            assert shown["own"] == []
        page.press("ArrowRight")
        assert page.shown()["position"] == len(ways[0].moves)
        assert page.troubles == []


@pytest.mark.thorough
def test_every_key_moves_as_it_says(browser: Browser, page_of: PageOf) -> None:
    """Home, End, left and right move; Escape closes and gives the focus back to the button."""
    with opened(browser, page_of(TANDEM)) as page:
        page.open_stage('[data-open="0"]')
        positions = []
        for key in ("End", "ArrowLeft", "Home", "ArrowLeft", "ArrowRight"):
            page.press(key)
            positions.append(page.shown()["position"])
        assert positions == [6, 5, 0, 0, 1]
        page.press("Escape")
        assert page.page.locator("#stage").is_hidden()
        assert page.page.evaluate("document.activeElement.dataset.open") == "0"


def test_a_step_is_told_in_words_and_its_changes_are_marked(
    browser: Browser, page_of: PageOf
) -> None:
    """What a screen reader is told is the sentence; what changed is marked with what it was."""
    with opened(browser, page_of(TWINS[0].parent / "silent_plug.yaml")) as page:
        page.open_stage('[data-open="1"]')
        page.press("ArrowRight")
        told = page.page.locator('#told[aria-live="polite"]').inner_text()
        assert told.startswith("1. the player steps on the pedal: pedal hears step")
        assert "pedal.foot lifted → pressed" in told
        row = page.page.locator('#now tr[data-chip="pedal"]').inner_text()
        assert "foot pressed was lifted" in " ".join(row.split())
        link = page.page.locator('#now tr[data-key^="link"]').inner_text()
        assert "pedal → receiver" in link
        assert "in flight picture(pressed) was nothing" in " ".join(link.split())
        assert page.shown()["marked"] == 2  # the variable, and what is in flight
        page.press("Home")
        assert page.shown()["marked"] == 0


def test_a_statechart_opens_from_its_row_one_at_a_time(browser: Browser, page_of: PageOf) -> None:
    """By keyboard, with the current state and the rule just taken marked, also after the next step;
    another one takes its place, and the same button closes it.
    """
    with opened(browser, page_of(STARTER)) as page:
        page.open_stage("[data-walk]")
        page.page.get_by_role("button", name="the player plugs the cable in").click()
        pedal = page.page.get_by_role("button", name="by_cable (statechart of pedal)")
        pedal.focus()
        page.press("Enter")
        assert page.shown()["charts"] == [["pedal", "by_cable"]]
        assert page.page.locator("#now .arrow.is-taken").count() == 1
        page.press("ArrowLeft")
        assert page.shown()["charts"] == [["pedal", "by_air"]]
        assert page.page.locator("#now .arrow.is-taken").count() == 0
        receiver = page.page.get_by_role("button", name="on_air (statechart of receiver)")
        receiver.click()
        assert page.shown()["charts"] == [["receiver", "on_air"]]
        receiver.press("Enter")
        assert page.shown()["charts"] == []
        assert receiver.get_attribute("aria-expanded") == "false"
        assert page.page.locator("#chips .is-current").count() == 0


def test_a_loop_is_followed_by_its_buttons(browser: Browser, page_of: PageOf) -> None:
    """At its end the loop's first step is the marked one, and leads back into the loop."""
    model = TWINS[0].parent / "only_place_taken.yaml"
    way = ways_of(model)[0]
    with opened(browser, page_of(model)) as page:
        page.open_stage('[data-open="0"]')
        page.press("End")
        page.page.locator("button.planned").click()
        assert page.shown()["position"] == way.loop_from
        assert page.page.locator("#go-return").is_hidden()


def test_a_failing_step_is_said_to_be_one(browser: Browser, page_of: PageOf) -> None:
    """Its button says so in words before it is pressed; after it nothing comes, and the chart says
    why.
    """
    twin = TWINS[0].parent / "queue_exhausted.yaml"
    with opened(browser, page_of(twin)) as page:
        page.open_stage("[data-open]")
        page.press("ArrowRight")
        failing = page.page.locator("button.choice", has_text="✕ must not happen")
        assert failing.count() == 1
        failing.press("Enter")
        assert page.shown()["choices"] == []
        assert "must not happen" in page.shown()["told"]
        assert page.page.locator("#sequence .notice").count() == 1


def test_a_loop_is_framed_and_said_to_go_on(browser: Browser, page_of: PageOf) -> None:
    """Where chips go round for ever, the chart has a frame marked loop, and words say so."""
    twin = TWINS[0].parent / "only_place_taken.yaml"
    finding = verdict_on(twin).findings[0]
    assert finding.trace is not None
    with opened(browser, page_of(twin)) as page:
        told = page.page.locator(f'[id="{finding.id}"] ol.told > li.again')
        assert told.count() == len(finding.trace.moves) - finding.trace.loop_from + 1
        page.open_stage('[data-open="0"]')
        assert page.page.locator("#sequence .loop").count() == 1
        page.press("End")
        words = f"it loops back to step {finding.trace.loop_from}, forever"
        assert words in page.shown()["told"]


@pytest.mark.parametrize("name", ["silent_plug", "update_interrupted", "only_place_taken"])
def test_the_chart_on_the_stage_is_the_one_that_is_drawn_anywhere(
    name: str, browser: Browser, page_of: PageOf
) -> None:
    """Sign for sign what `modecheck draw` draws of the scenario; the copy on the stage has besides
    only the mark of the current step, and the heads of its lanes once more.
    """
    model = TWINS[0].parent / f"{name}.yaml"
    finding = next(one for one in verdict_on(model).findings if one.trace is not None)
    assert finding.trace is not None
    drawn = sequence_svg(SequenceChart("", finding.text, (), sequence_of(finding.trace)))
    assert without_style(drawn) in page_of(model).read_text(encoding="utf-8")
    with opened(browser, page_of(model)) as page:
        page.open_stage('[data-open="0"]')
        page.page.evaluate(
            "document.querySelectorAll('#sequence :is(.band, .heads)').forEach(one => one.remove())"
        )
        copies = page.page.locator("div.scenario:has(#stage) .chart svg, #sequence svg")
        inner = copies.evaluate_all(
            "copies => copies.map(one => one.innerHTML.replaceAll(' is-taken', ''))"
        )
        assert len(inner) == 2
        assert inner[0] == inner[1]


def test_own_steps_are_told_below_the_chart(browser: Browser, page_of: PageOf) -> None:
    """Off the scenario the mark stays where it was left; the steps since then are told."""
    with opened(browser, page_of(STARTER)) as page:
        page.open_stage('[data-open="0"]')
        page.press("ArrowRight")
        page.page.locator("button.choice:not(.planned)").first.click()
        shown = page.shown()
        assert (shown["position"], shown["bands"]) == (2, [1])
        assert [*shown["own"]] == [shown["told"].removeprefix("2. ").split("\n")[0]]
        assert page.page.locator("#own-steps").get_attribute("start") == "2"
        page.press("Escape")
        page.open_stage("[data-walk]")
        assert page.page.locator("#so-far").is_hidden()
        for _ in range(3):
            page.page.locator("button.choice").first.click()
        assert (page.shown()["bands"], len(page.shown()["own"])) == ([], 3)
