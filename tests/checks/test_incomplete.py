"""What an exploration that was stopped may say, and what it must not claim."""

from __future__ import annotations

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.scenario.replay import replay
from tests.generation.devices import Drawn, device_from, devices

EXAMPLES = settings().max_examples
NEEDS_EVERYTHING = {
    "unreachable-state",
    "dead-rule",
    "dead-letter",
    "mode-never-reached",
    "no-mode-switch",
    "needless-acceptance",
}


def verdict_on(drawn: Drawn, states: int) -> Verdict:
    plain = Search(engine="plain", limits=Limits(states=states))
    return check([drawn.read()], search=plain, today=date(2026, 1, 1))


def counterpart(finding: Finding, whole: Verdict) -> Finding:
    """The same finding in the whole; of a deadlock perhaps one that fewer chips cause, and of which
    it is a consequence.
    """
    parts = set(finding.subject.split("+"))
    return next(
        one
        for one in whole.findings
        if one.id == finding.id
        or (one.code == finding.code == "deadlock" and set(one.subject.split("+")) < parts)
    )


@given(devices(starts=True), st.integers(1, 40))
@settings(max_examples=EXAMPLES)
def test_stopped_exploration_claims_only_what_the_whole_one_confirms(
    drawn: Drawn, states: int
) -> None:
    """Whatever is found in a part is found in the whole, with a scenario as short or shorter; what
    needs all states is left out.
    """
    part, whole = verdict_on(drawn, states), verdict_on(drawn, 400)
    if part.complete or not whole.complete:
        return
    for finding in part.findings:
        assert finding.code not in NEEDS_EVERYTHING
        known = counterpart(finding, whole).steps
        assert known == finding.steps or (known or 0) < (finding.steps or 0)
        if finding.trace is not None:
            list(replay(part.explored[0].exploration.product, finding.trace.moves))


@given(devices(starts=True), st.integers(1, 40))
@settings(max_examples=EXAMPLES)
def test_stopped_exploration_never_finds_a_longer_scenario(drawn: Drawn, states: int) -> None:
    """Layers that were explored whole hold the shortest scenarios already."""
    part, whole = verdict_on(drawn, states), verdict_on(drawn, 400)
    explored = part.explored[0].exploration
    sure = explored.depth_of(explored.expanded - 1) if explored.expanded else 0
    for finding in part.findings:
        # The way of an unending switch may leave the layers through its mode and come back.
        if finding.steps is None or finding.code == "unending-switch" or not whole.complete:
            continue
        known = counterpart(finding, whole)
        if known.id == finding.id:
            assert finding.steps > sure or known.steps == finding.steps


COUNTER = """
device: counter
chips:
  hub:
    variables: {n: {range: [0, 90]}}
    states: {run: {}, end: {rest: true}, never: {}}
    rules:
      - {name: more, in: run, if: n < 90, do: [n += 1]}
      - {name: stop, in: run, if: n == 90, to: end}
modes: {begin: hub.n == 0, far: hub.n == 90 and not hub.end, last: hub.end}
requirements:
  ends: {text: It comes to an end, possible: hub.end}
  small: {text: The number stays small, always: hub.n < 50}
  returns: {text: It can always come to an end, recoverable: hub.end}
"""


def counter(states: int) -> Verdict:
    return verdict_on(Drawn(COUNTER), states)


def test_requirement_about_all_states_waits_for_all_states() -> None:
    """`possible` is judged at the end only; a broken `always` is told as soon as it is found."""
    assert [finding.id for finding in counter(20).findings] == []
    assert [finding.id for finding in counter(60).findings] == ["broken-requirement:small"]
    assert {finding.id for finding in counter(200).findings} == {
        "broken-requirement:small",
        "no-mode-switch:far->begin",
        "no-mode-switch:last->begin",
        "no-mode-switch:last->far",
        "unreachable-state:hub.never",
    }


def test_verdict_says_that_it_is_incomplete() -> None:
    """Incomplete is a verdict that was stopped, or that leaves a requirement undecided."""
    assert not counter(20).complete
    assert counter(200).complete
    text = COUNTER + "  later: {text: Something follows, whenever: hub.run, then: hub.end}\n"
    assert check([device_from(text)]).not_evaluated == ()
    limits = Limits(states=20)
    verdict = check([device_from(text)], search=Search(limits=limits))
    assert verdict.not_evaluated == ("ends", "small", "returns", "later")
    assert not verdict.complete


def test_bound_of_states_with_modes_does_not_break_the_checks() -> None:
    """Every bound gives a verdict, wherever it cuts the last layer."""
    for states in range(1, 95):
        assert not counter(states).complete or states > 91
