"""All findings on random devices, with the lengths of their scenarios, against brute force."""

from __future__ import annotations

from datetime import date

from hypothesis import assume, event, given, settings

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from tests.generation.devices import Drawn, devices
from tests.second_reading.findings import findings_of
from tests.second_reading.modes import switch_between
from tests.second_reading.search import Reached, search

MOST_WORLDS = 300
"""Brute force goes over all worlds again and again, so these devices are smaller."""

PLAIN = Search(engine="plain", limits=Limits(states=MOST_WORLDS))

EXAMPLES = settings().max_examples * 3 // 2


def verdict_on(drawn: Drawn) -> Verdict:
    verdict = check([drawn.read()], search=PLAIN, today=date(2026, 1, 1))
    assume(verdict.complete)
    return verdict


def shortest(finding: Finding) -> int | None:
    """What brute force tells, too: of an endless switch only that there is one."""
    return None if finding.code == "endless-switch" else finding.fewest


def reached_by(verdict: Verdict) -> Reached:
    return search(verdict.device, MOST_WORLDS)


@given(devices(starts=True, options=False))
@settings(max_examples=EXAMPLES)
def test_findings_and_their_lengths_agree_with_brute_force(drawn: Drawn) -> None:
    """Exactly the findings that brute force has, each with a scenario of the fewest steps."""
    assert_agrees_with_brute_force(drawn)


@given(devices(starts=True, options=False, timed=True))
@settings(max_examples=EXAMPLES)
def test_findings_agree_where_time_is_counted(drawn: Drawn) -> None:
    """The same, with moments at which time cannot go on."""
    assert_agrees_with_brute_force(drawn)


TURNED_OFF = """\
device: a lamp that flickers as long as it is on
clock: {tick: 1 ms}
chips:
  lamp:
    states:
      dark: {rest: true, rules: [{after: 0 ms, if: hand.state == on, to: bright}]}
      bright: {rules: [{after: 0 ms, to: dark}]}
actors:
  hand:
    states: {on: {rules: [{to: off}]}, off: {}}
"""


def test_an_actor_that_is_fair_ends_a_loop_in_zero_time() -> None:
    """The hand owes nothing unless it is declared to be fair: both readings know it."""
    for fairness, loops in (("none", True), ("weak", False)):
        drawn = Drawn(f"{TURNED_OFF}    fair: {fairness}\n")
        verdict = check([drawn.read()], search=PLAIN)
        assert ("zeno:lamp" in {one.id for one in verdict.findings}) == loops
        assert ("zeno:lamp" in findings_of(reached_by(verdict))) == loops


EACH_MASKS_THE_OTHER = """\
device: two tasks that each wait for the other to unmask it
clock: {tick: 1 ms}
chips:
  reader: {runs_on: mcu, priority: 2, states: {idle: {masks: [writer], rules: [{after: 1 ms}]}}}
  writer: {runs_on: mcu, priority: 1, states: {idle: {masks: [reader], rules: [{after: 1 ms}]}}}
"""


def test_activities_that_mask_each_other_are_a_deadlock_and_stop_no_time() -> None:
    """What gives way to others need not step at its latest moment: time goes on, for nothing."""
    verdict = check([Drawn(EACH_MASKS_THE_OTHER).read()], search=PLAIN)
    found = {one.id: one.fewest for one in verdict.findings if one.severity == "error"}
    assert found == {"deadlock:reader.idle+writer.idle": 1}
    told = findings_of(reached_by(verdict))
    assert found.items() <= told.items()
    assert not any(key.startswith(("time-stop", "stuck-chip")) for key in told)


def assert_agrees_with_brute_force(drawn: Drawn) -> None:
    verdict = verdict_on(drawn)
    # Where it may start in several states, a scenario begins by saying in which one it does.
    before = 1 if verdict.explored[0].exploration.product.starts else 0
    lengths = {f.id: shortest(f) for f in verdict.findings if f.code != "unused"}
    found = {name: steps and steps - before for name, steps in lengths.items()}
    assert found == findings_of(reached_by(verdict))
    for code in {finding.code for finding in verdict.findings}:
        event(code)


@given(devices(starts=True, options=False))
@settings(max_examples=settings().max_examples)
def test_mode_switches_agree_with_brute_force(drawn: Drawn) -> None:
    """Each ordered pair of modes: direct, over other modes or never, and the fewest steps."""
    assume(len(drawn.read().modes) > 1)
    verdict = verdict_on(drawn)
    reached = reached_by(verdict)
    for switch in verdict.explored[0].switches:
        expected = switch_between(reached, switch.source, switch.target)
        manner = ("direct" if switch.direct else "via") if switch.possible else ""
        assert ((manner, switch.steps) if manner else None) == expected
        if switch.trace is not None:
            assert len(switch.trace.moves) - switch.trace.switch_from == switch.steps
