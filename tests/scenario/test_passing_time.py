"""Steps in which nothing but time passes are told as one; the device is invented."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from modecheck.engine.contract.space import LoopQuery
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from modecheck.report.as_json import times_of
from modecheck.report.markdown import steps_as_markdown
from modecheck.report.page.tellings import telling
from modecheck.report.style import Style
from modecheck.report.terminal import scenario_as_text
from modecheck.scenario.sequence import sequence_of
from modecheck.scenario.telling import condensed
from modecheck.scenario.traces import Trace, lasso, trace_to
from tests.generation.devices import device_from

BLINKING = """
device: a lamp that blinks
clock: {tick: 1 ms}
chips:
  lamp:
    states: {off: {rest: true}, dark: {}, lit: {}}
    rules:
      begin: {in: off, on: press, to: dark}
      shine: {in: dark, after: 20 ms, to: lit}
      hide: {in: lit, after: 1 ms, to: dark}
actors:
  foot:
    states: [up, down]
    rules: [{in: up, to: down, signal: [press]}]
requirements:
  R1: {text: it is never lit, never: lamp.lit}
"""


@pytest.fixture(scope="module")
def space() -> PlainExploration:
    return explore(compose(device_from(BLINKING)))


@pytest.fixture(scope="module")
def trace(space: PlainExploration) -> Trace:
    return trace_to(space, next(space.numbered(space.mark("requirement:R1"))))


def test_a_run_of_ticks_is_one_line(trace: Trace) -> None:
    """With the numbers of its first and last step, on a terminal and in Markdown."""
    told = trace.told
    assert len(told) == 22
    assert "  2-21. 20 ms pass" in scenario_as_text(told, Style())
    assert steps_as_markdown(told)[1] == "- 2-21: 20 ms pass"


def test_single_steps_tell_their_time(trace: Trace) -> None:
    """JSON keeps every step, with how long it lasts and the time since the start."""
    told = trace.told
    assert times_of(told[0]) == {"lasts": "0", "time": "0"}
    assert times_of(told[20]) == {"lasts": "1 ms", "time": "20 ms"}
    assert told[20].text == "1 ms passes"
    assert told[21].since == Fraction(20, 1000)


def test_a_loop_begins_with_a_line_of_its_own(space: PlainExploration) -> None:
    """What repeats is not told together with what comes before it."""
    loop = space.fair_loop(LoopQuery(wanted=0)).loop
    assert loop is not None
    around = lasso(space, loop)
    told = around.told
    assert sum(line.steps for line in condensed(told)) == len(told)
    inside = [replace(step, again=step.number >= 10) for step in told]
    assert next(line.number for line in condensed(inside) if line.again) == 10


def test_a_break_parts_a_run(trace: Trace) -> None:
    """A mode switch that begins while time passes begins a line."""
    numbers = [line.numbers for line in condensed(trace.told, breaks=(5,))]
    assert numbers == ["1", "2-4", "5-21", "22"]


def test_a_chart_has_one_row_for_a_run(trace: Trace) -> None:
    """It says how much time passes in which steps."""
    rows = [row for row in sequence_of(trace).rows if row.kind == "time"]
    assert [(row.step, row.until, row.words) for row in rows] == [(2, 21, ("20 ms",))]


def test_the_page_holds_steps_of_time(space: PlainExploration, trace: Trace) -> None:
    """In a tick no rule is taken, and its sentence says how long it is."""
    one = trace.steps[5]
    kind, *_, sentence, rules, _ = telling(space.product, one.step)
    assert (kind, sentence, rules) == ("tick", "1 ms passes", ())
