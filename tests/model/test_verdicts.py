"""What a team says of findings: accepted for a reason, or known of a faulty twin."""

from __future__ import annotations

from datetime import date

import pytest

from tests.model.folder import Folder, around


def test_a_finding_is_accepted_for_a_reason_and_perhaps_until_a_day(folder: Folder) -> None:
    """The day is the last on which it is accepted."""
    beside = """\
accepted:
  - {finding: "deadlock:hub.s", reason: a known limit, until: 2027-03-31}
  - {finding: "unused:front pair", reason: agreed}
"""
    one, two = folder.device(around("states: [s]", beside=beside)).accepted
    assert (one.finding, one.reason, one.until) == (
        "deadlock:hub.s", "a known limit", date(2027, 3, 31),
    )  # fmt: skip
    assert (two.finding, two.until) == ("unused:front pair", None)


def test_a_twin_says_what_is_found_in_it(folder: Folder) -> None:
    """With the length of the shortest scenario, where it has one."""
    beside = 'expect: [{finding: "deadlock:hub.s", steps: 7}, {finding: "unused:x"}]'
    one, two = folder.device(around("states: [s]", beside=beside)).expected
    assert [(one.finding, one.steps), (two.finding, two.steps)] == [
        ("deadlock:hub.s", 7), ("unused:x", None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("beside", "told"),
    [
        ("accepted: {a: b}", "a mapping cannot be used as accepted"),
        ("accepted: [x]", "'x' cannot be used as an entry of accepted"),
        ("accepted: [{finding: 'deadlock:x'}]", "an entry of accepted lacks 'reason'"),
        ("accepted: [{finding: deadlock, reason: x}]", "'deadlock' does not name a finding"),
        ("accepted: [{finding: 'deadlock:x', reason: [x]}]", "a list cannot be used as a reason"),
        (
            "accepted: [{finding: 'deadlock:x', reason: x, until: soon}]",
            "a date such as 2027-03-31",
        ),
        ("accepted: [{finding: 'deadlock:x', reason: x, until: 2027-02-30}]", "a date such as"),
        (
            "accepted: [{finding: 'deadlock:x', reason: x, til: 2027-03-31}]",
            "did you mean 'until'?",
        ),
        ("expect: x", "'x' cannot be used as expect"),
        ("expect: [{steps: 3}]", "an entry of expect lacks 'finding'"),
        ("expect: [{finding: [x]}]", "a list cannot be used as a finding"),
        ("expect: [{finding: 'deadlock:x', steps: -1}]", "'-1' cannot be used as steps"),
        ("expect: [{finding: 'deadlock:x', steps: many}]", "'many' cannot be used as steps"),
    ],
)
def test_verdicts_that_are_none_are_told(folder: Folder, beside: str, told: str) -> None:
    """A finding is named as check prints it."""
    assert told in folder.error(around("states: [s]", beside=beside))


PARTS = """
modes: {loud: hub.s}
pairings: {pair: {ends: [hub.bond, tile.bond]}}
requirements: {R1: {text: t, possible: hub.s}}
"""
HUB = "states: [s], variables: {bond: {bond: true}}, rules: {wait: {after: 1 s, to: s}}"


@pytest.mark.parametrize(
    "finding",
    [
        "deadlock:hub.s", "deadlock:hub.s+tile.linked", "deadlock:up.hello", "stuck-chip:tile.old",
        "livelock:hub+tile", "time-stop:hub.wait", "unspecified-reception:hub.s.hello",
        "overflow:up.keys", "out-of-range:hub.bond", "lost-bond:pair", "two-modes:loud+loud",
        "no-mode-switch:loud->loud", "broken-requirement:R1", "dead-rule:tile.any:step",
    ],
)  # fmt: skip
def test_a_finding_of_parts_that_exist_can_be_accepted(folder: Folder, finding: str) -> None:
    """Chips, states, rules, messages, modes, pairings, requirements."""
    beside = f'{PARTS}accepted: [{{finding: "{finding}", reason: r}}]'
    (one,) = folder.device(around(HUB, beside=beside)).accepted
    assert one.finding == finding


@pytest.mark.parametrize(
    ("finding", "told"),
    [
        ("deadlok:hub.s", "no finding has the code 'deadlok' | 'deadlock'"),
        ("stuck-chip:hbu.s", "the device has no chip 'hbu' | 'hub'"),
        ("stuck-chip:tile.lnked", "tile has no state 'lnked' | 'linked'"),
        ("deadlock:hub.s+tile.frsh", "tile has no state 'frsh' | 'fresh'"),
        ("overflow:up.helo", "up has no message 'helo' | 'hello'"),
        ("unspecified-reception:hub.s.helo", "s has no message 'helo' | 'hello'"),
        ("dead-rule:hub.wiat", "hub has no rule 'wiat' | 'wait'"),
        ("lost-bond:piar", "the device has no pairing 'piar' | 'pair'"),
        ("two-modes:loud+lod", "the device has no mode 'lod' | 'loud'"),
        ("broken-requirement:R11", "the device has no requirement 'R11' | 'R1'"),
        ("stuck-chip:hub", "'hub' is not chip.state"),
    ],
)
@pytest.mark.parametrize("section", ["accepted", "expect"])
def test_a_finding_of_nothing_is_told(
    folder: Folder, finding: str, told: str, section: str
) -> None:
    """An acceptance that is spelt wrong accepts nothing, and is no finding that went away."""
    reason = ", reason: r" if section == "accepted" else ""
    beside = f'{PARTS}{section}: [{{finding: "{finding}"{reason}}}]'
    text = folder.error(around(HUB, beside=beside))
    message, _, near = told.partition(" | ")
    assert message in text
    assert not near or f"did you mean {near}?" in text or f"expected {near}" in text


def test_what_an_overlay_removed_may_still_be_accepted_beneath(folder: Folder) -> None:
    """The file beneath accepts it for itself; that it is needless here is for check to say."""
    base = around(HUB, beside=f'{PARTS}accepted: [{{finding: "broken-requirement:R1", reason: r}}]')
    text = "device: twin\nbased_on: base.yaml\nrequirements: null\n"
    assert len(folder.device(text, {"base.yaml": base}).accepted) == 1
