"""Random devices through every output: what a check finds can be told, in each form that it has."""

from __future__ import annotations

import json
import xml.etree.ElementTree as Xml
from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from modecheck.checks.device_time_bounds import times_of
from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.draw.gallery import finding_drawings, render_svg, switch_drawings
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.report.as_json import json_text
from modecheck.report.as_junit import junit_text
from modecheck.report.as_sarif import sarif_text
from modecheck.report.check_report import verdict_report
from modecheck.report.markdown import markdown_of
from modecheck.report.page import page_as_html
from modecheck.report.style import Style
from modecheck.report.terminal import lines_of
from modecheck.report.times_json import times_as_json
from modecheck.report.times_pictures import time_pictures
from modecheck.report.times_report import times_report
from tests.generation.devices import Drawn, device_from, devices
from tests.generation.waiting import waiting_devices

EXAMPLES = settings().max_examples
MOST_STATES = 400

NOBODY_ELSE_COUNTS = """\
device: sample
clock: {tick: 1 ms}
chips:
  a: {states: {x: {}, y: {}}}
  b: {states: {x: {}, z: {}}, rules: [{in: x, to: z}]}
requirements:
  R1: {text: a follows, whenever: b.state != x, then: a.state == y, within: 3 ms}
"""
"""Invented: while a is waited for the requirement alone counts time, which changes nothing else."""

BEHIND_A_TIMER = NOBODY_ELSE_COUNTS.replace("[{in: x,", "[{in: x, after: 9 ms,").replace(
    "z: {}}", "z: {rules: [{after: 30 ms, to: x}]}}"
)
"""While a is waited for b counts, too, and longer than the requirement."""


def _need_well_formed(text: str) -> None:
    Xml.fromstring(text)  # noqa: S314 - our own output


def pictures(verdict: Verdict) -> None:
    """The sequence charts of what was found and of mode switches."""
    one = verdict.explored[0]
    for drawing in finding_drawings(verdict.findings):
        _need_well_formed(render_svg(drawing))
    for drawing in switch_drawings(one.switches):
        _need_well_formed(render_svg(drawing))


OUTPUTS: dict[str, Callable[[Verdict], object]] = {
    "terminal": lambda verdict: lines_of(verdict_report(verdict, costs=True), Style()),
    "JSON": lambda verdict: json.loads(json_text(verdict)),
    "JUnit": lambda verdict: _need_well_formed(junit_text(verdict)),
    "SARIF": lambda verdict: json.loads(sarif_text(verdict)),
    "Markdown": lambda verdict: markdown_of(verdict_report(verdict, costs=True)),
    "page": page_as_html,
    "pictures": pictures,
}


def verdict_on(drawn: Drawn, *, time_acceleration: bool = False, symmetry: bool = False) -> Verdict:
    search = Search(
        engine="plain",
        time_acceleration=time_acceleration,
        symmetry=symmetry,
        limits=Limits(states=MOST_STATES),
    )
    verdict = check([drawn.read()], search=search)
    assume(verdict.explored[0].exploration.complete)
    return verdict


HOW_TO_EXPLORE: tuple[dict[str, bool], ...] = ({}, {"time_acceleration": True}, {"symmetry": True})
reduced = st.sampled_from(HOW_TO_EXPLORE)


@pytest.mark.thorough
@given(devices(timed=True, runs=True), reduced)
@settings(max_examples=EXAMPLES // 2)
def test_a_device_with_a_clock_is_told_in_every_output(drawn: Drawn, how: dict[str, bool]) -> None:
    """With links, people and faults; whatever is explored."""
    verdict = verdict_on(drawn, **how)
    for output in OUTPUTS.values():
        output(verdict)


@pytest.mark.thorough
@given(waiting_devices(), reduced)
@settings(max_examples=2 * EXAMPLES)
def test_whoever_waits_is_told_in_every_output(drawn: Drawn, how: dict[str, bool]) -> None:
    """Within a time, and in the end, where often a requirement alone counts the time."""
    verdict = verdict_on(drawn, **how)
    for output in OUTPUTS.values():
        output(verdict)


@pytest.mark.thorough
@given(devices(runs=True), st.booleans())
@settings(max_examples=EXAMPLES // 2)
def test_a_device_without_a_clock_is_told_in_every_output(drawn: Drawn, symmetry: bool) -> None:
    """Requirements about runs included."""
    verdict = verdict_on(drawn, symmetry=symmetry)
    for output in OUTPUTS.values():
        output(verdict)


@given(waiting_devices())
@settings(max_examples=EXAMPLES // 2)
def test_times_are_told_in_every_output(drawn: Drawn) -> None:
    """As text, as JSON, and as timing diagrams."""
    times = times_of(drawn.read(), Search(engine="plain", limits=Limits(states=MOST_STATES)))
    report = times_report(times, None, scenarios=True)
    lines_of(report, Style())
    markdown_of(report)
    times_as_json(times, None)
    for _, text in time_pictures(times):
        _need_well_formed(text)


@pytest.mark.parametrize("output", OUTPUTS)
@pytest.mark.parametrize("time_acceleration", [False, True])
def test_time_that_only_a_requirement_counts_is_told(
    output: str, *, time_acceleration: bool
) -> None:
    """A scenario in which nothing but a requirement counts the time has a place in each output."""
    verdict = check(
        [device_from(NOBODY_ELSE_COUNTS)], search=Search(time_acceleration=time_acceleration)
    )
    OUTPUTS[output](verdict)


@pytest.mark.parametrize(("time_acceleration", "later"), [(False, 4), (True, 6)])
@pytest.mark.parametrize(("text", "begins"), [(NOBODY_ELSE_COUNTS, 0), (BEHIND_A_TIMER, 9)])
def test_so_much_time_passes_as_the_requirement_counts(
    text: str, begins: int, later: int, *, time_acceleration: bool
) -> None:
    """Nobody follows within 3 ms. The first moment that is too late lies a tick behind that: of
    1 ms, or of the 3 ms that are enough where waits are one step.
    """
    verdict = check([device_from(text)], search=Search(time_acceleration=time_acceleration))
    found = next(one for one in verdict.findings if one.id == "broken-requirement:R1")
    assert found.trace is not None
    told = found.scenario
    assert told[-1].since == Fraction(begins + later, 1000)
