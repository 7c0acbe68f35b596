"""Findings that the team lives with: set aside with a reason, until a date, while they occur."""

from __future__ import annotations

from datetime import date
from textwrap import dedent

import pytest

from modecheck.checks.every_check import CHECKS
from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search
from modecheck.engine.contract.space import Limits
from modecheck.model.devices import variants
from modecheck.model.errors import InvalidInput
from modecheck.model.finding_kinds import KINDS
from tests.generation.devices import device_from

DEVICE = """
device: accepted
options: {{path: [short, long]}}
chips:
  hub:
    states: {{idle: {{rest: true}}, hung: {{}}, between: {{rest: true}}}}
    rules:
      - {{in: idle, after: 1 s, if: path == short, to: hung}}
      - {{in: idle, after: 1 s, if: path == long, to: between}}
accepted: [{}]
"""
TODAY = date(2026, 6, 15)
LIVED_WITH = 'finding: "deadlock:hub.hung", reason: switching it off helps'


def verdict_on(*accepted: str, search: Search | None = None, **chosen: str) -> Verdict:
    text = DEVICE.format(", ".join(f"{{{entry}}}" for entry in accepted))
    return check([device_from(text, chosen)], today=TODAY, search=search)


def test_accepted_finding_does_not_count() -> None:
    """It is set aside with its reason; nothing else is."""
    verdict = verdict_on(LIVED_WITH)
    assert verdict.findings == ()
    (one,) = verdict.accepted
    assert (one.finding.id, one.reason, one.until) == (
        "deadlock:hub.hung",
        "switching it off helps",
        None,
    )
    assert one.finding.steps == 1


@pytest.mark.parametrize(
    ("until", "holds"), [("2026-06-14", False), ("2026-06-15", True), ("2027-01-01", True)]
)
def test_acceptance_holds_to_the_end_of_its_last_day(until: str, *, holds: bool) -> None:
    """`until` is the last day; afterwards the finding counts again, and a remark says why."""
    verdict = verdict_on(f"{LIVED_WITH}, until: {until}")
    assert len(verdict.accepted) == holds
    assert [finding.id for finding in verdict.findings] == [] if holds else ["deadlock:hub.hung"]
    ended = [f"the acceptance of deadlock:hub.hung expired on {until}"]
    assert list(verdict.remarks) == ([] if holds else ended)


def test_acceptance_of_another_finding_accepts_nothing() -> None:
    """An acceptance names one finding exactly."""
    verdict = verdict_on('finding: "deadlock:hub.idle", reason: a guess')
    assert "deadlock:hub.hung" in {finding.id for finding in verdict.findings}
    assert verdict.accepted == ()


def every_variant(*accepted: str) -> Verdict:
    text = DEVICE.format(", ".join(f"{{{entry}}}" for entry in accepted))
    devices = [device_from(text, choice) for choice in variants(device_from(text))]
    return check(devices, today=TODAY)


def test_needless_acceptance_is_a_finding() -> None:
    """An accepted finding that occurs in no variant any more is told, once all were explored."""
    verdict = every_variant(LIVED_WITH, 'finding: "deadlock:hub.between", reason: it hung')
    assert [f.id for f in verdict.findings] == ["needless-acceptance:deadlock:hub.between"]


def test_acceptance_that_another_variant_may_need_is_not_needless() -> None:
    """A check of one variant does not call for the removal of what another one needs."""
    assert verdict_on(LIVED_WITH, path="long").findings == ()
    assert every_variant(LIVED_WITH).findings == ()


def test_incomplete_exploration_calls_no_acceptance_needless() -> None:
    """What was not explored to the end may hide the accepted finding."""
    stopped = verdict_on(LIVED_WITH, search=Search(engine="plain", limits=Limits(states=1)))
    assert not stopped.complete
    assert stopped.findings == ()


def test_accepted_needless_acceptance_is_not_possible() -> None:
    """A finding is accepted by the id that check prints; a text without a code is an error."""
    with pytest.raises(InvalidInput, match="does not name a finding"):
        device_from(dedent(DEVICE.format("{finding: everything, reason: none}")))


def test_every_code_of_a_finding_can_be_accepted() -> None:
    """The model, which may not know the checks, has a kind for each of them, and no other."""
    codes = [one.code for one in CHECKS]
    assert sorted(codes) == sorted(KINDS)
    assert all(one.severity in ("error", "warning") for one in KINDS.values())


BEHIND_A_FAILING_STEP = """
device: accepted, and blind
chips:
  hub:
    states: {idle: {rest: true}, gone: {}}
    rules: {lose: {in: idle, on: bye, to: gone}}
  host: {states: {there: {rest: true}}, rules: {say: {if: hub.gone, send: [hello]}}}
actors:
  player: {states: {here: {}}, rules: [{signal: [bye]}]}
links: {down: {from: host, to: hub, carries: [hello], when_full: drop_new}}
accepted: [{finding: "unspecified-reception:hub.gone.hello", reason: known}]
"""


def test_what_follows_an_accepted_failing_step_is_said_to_be_unknown() -> None:
    """The hub never leaves `gone`. Nobody looks behind the step that fails there, so nothing more
    is found once that is accepted; a verdict that is green because of that says so.
    """
    verdict = check([device_from(BEHIND_A_FAILING_STEP)], today=TODAY)
    assert verdict.findings == ()
    assert list(verdict.remarks) == [
        "not explored: what comes after the accepted unspecified-reception:hub.gone.hello"
    ]
    discarded = BEHIND_A_FAILING_STEP.replace("gone}}", "gone}}\n    discards: {gone: [hello]}")
    found = check([device_from(discarded)], today=TODAY)
    assert "stuck-chip:hub.gone" in {finding.id for finding in found.findings}
    assert not found.remarks
