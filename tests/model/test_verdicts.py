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
  - {finding: "lost-bond:left pair", reason: agreed}
"""
    one, two = folder.device(around("states: [s]", beside=beside)).accepted
    assert (one.finding, one.reason, one.until) == (
        "deadlock:hub.s", "a known limit", date(2027, 3, 31),
    )  # fmt: skip
    assert (two.finding, two.until) == ("lost-bond:left pair", None)


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
        ("accepted: {a: b}", "a mapping as accepted"),
        ("accepted: [x]", "'x' as an entry of accepted"),
        ("accepted: [{finding: 'deadlock:x'}]", "an entry of accepted lacks 'reason'"),
        ("accepted: [{finding: deadlock, reason: x}]", "'deadlock' names no finding"),
        ("accepted: [{finding: 'deadlock:x', reason: [x]}]", "a list as a reason"),
        (
            "accepted: [{finding: 'deadlock:x', reason: x, until: soon}]",
            "a date such as 2027-03-31",
        ),
        ("accepted: [{finding: 'deadlock:x', reason: x, until: 2027-02-30}]", "a date such as"),
        (
            "accepted: [{finding: 'deadlock:x', reason: x, til: 2027-03-31}]",
            "did you mean 'until'?",
        ),
        ("expect: x", "'x' as expect"),
        ("expect: [{steps: 3}]", "an entry of expect lacks 'finding'"),
        ("expect: [{finding: [x]}]", "a list as a finding"),
        ("expect: [{finding: 'deadlock:x', steps: -1}]", "'-1' as steps"),
        ("expect: [{finding: 'deadlock:x', steps: many}]", "'many' as steps"),
    ],
)
def test_verdicts_that_are_none_are_told(folder: Folder, beside: str, told: str) -> None:
    """A finding is named as check prints it."""
    assert told in folder.mistake(around("states: [s]", beside=beside))
