"""Requirements that fall with one that they build on."""

from __future__ import annotations

from datetime import date

import pytest

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from tests.generation.devices import device_from

DEVICE = """
device: a lamp
chips:
  lamp:
    states: {{dark: {{rest: true}}, lit: {{rest: true}}, hot: {{rest: true}}}}
    rules: [{{in: dark, on: push, to: lit}}, {{in: lit, on: push, to: hot}}]
actors: {{player: {{states: [here], rules: [{{signal: push}}]}}}}
requirements:
  ROOT: {{text: never lit, never: lamp.lit{root}}}
  STEM: {{text: always dark, always: lamp.dark, builds_on: ROOT}}
  LEAF: {{text: never hot, never: lamp.hot, builds_on: {leaf}}}
  SOUND: {{text: somebody is here, always: player.here, builds_on: [ROOT]}}
  BESIDE: {{text: somebody is here, always: player.here}}
{accepted}
"""


def verdict_on(root: str = "", leaf: str = "[STEM]", accepted: str = "") -> Verdict:
    device = device_from(DEVICE.format(root=root, leaf=leaf, accepted=accepted))
    return check([device], today=date(2026, 1, 1))


def told(verdict: Verdict) -> dict[str, tuple[str, str]]:
    return {one.need.name: (one.verdict, one.remark) for one in verdict.requirements}


def test_only_the_cause_is_found() -> None:
    """Also through others; what holds holds."""
    verdict = verdict_on()
    assert [finding.id for finding in verdict.findings] == ["broken-requirement:ROOT"]
    assert told(verdict) == {
        "ROOT": ("broken", ""),
        "STEM": ("falls", "builds on ROOT, which is broken"),
        "LEAF": ("falls", "builds on ROOT, which is broken"),
        "SOUND": ("holds", ""),
        "BESIDE": ("holds", ""),
    }


def test_without_a_broken_foundation_it_is_a_finding() -> None:
    """What it builds on holds, or it builds on nothing."""
    verdict = verdict_on(leaf="[BESIDE]")
    assert told(verdict)["LEAF"] == ("broken", "")
    assert "broken-requirement:LEAF" in {finding.id for finding in verdict.findings}


@pytest.mark.parametrize("until", ["", ", until: 2025-01-01"])
def test_an_accepted_break_excuses_nothing(until: str) -> None:
    """Else what is accepted would hide what nobody has accepted; not even when it has ended."""
    accepted = f"accepted: [{{finding: broken-requirement:ROOT, reason: so be it{until}}}]"
    verdict = verdict_on(accepted=accepted)
    assert told(verdict)["STEM"] == ("broken", "")
    assert told(verdict)["LEAF"] == ("falls", "builds on STEM, which is broken")
    assert "broken-requirement:STEM" in {finding.id for finding in verdict.findings}


def test_what_falls_may_be_accepted() -> None:
    """It occurs: its acceptance is not needless."""
    verdict = verdict_on(accepted="accepted: [{finding: broken-requirement:LEAF, reason: it is}]")
    assert [finding.id for finding in verdict.findings] == ["broken-requirement:ROOT"]
