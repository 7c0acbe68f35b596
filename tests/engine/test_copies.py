"""Devices with copies beside the same devices written out, in everything that is found."""

from __future__ import annotations

from hypothesis import given, settings

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.product.composition import compose
from tests.engine.native.test_agreement import assert_same_space
from tests.engine.test_second_reading import assert_same_in_both
from tests.generation.copied import Copied, copied_devices, written_out_name
from tests.second_reading.search import search

MOST_STATES = 1_500
EXAMPLES = settings().max_examples


def steps_of(space: PlainExploration) -> list[list[tuple[str, int]]]:
    """The steps out of each state, by what they are called."""
    labels = [written_out_name(label.text) for label in space.product.labels]
    return [
        [(labels[edge.label], edge.target) for edge in space.edges_from(number)]
        for number in range(space.state_count)
    ]


BY_PLACE = {"dead-rule", "unreachable-state", "unused"}
"""Reported once for all chips that share the place: with copies, only where it is so in all."""


def findings_of(verdict: Verdict) -> list[tuple[str, str, int | None]]:
    return [
        (finding.code, written_out_name(finding.subject), finding.steps)
        for finding in verdict.findings
    ]


@given(copied_devices())
@settings(max_examples=EXAMPLES)
def test_copies_are_what_is_written_out(drawn: Copied) -> None:
    """State by state and step by step, in the same order, and the same findings."""
    short, long = (
        explore(compose(device.read()), max_states=MOST_STATES)
        for device in (drawn.short, drawn.long)
    )
    assert [short.state(n) for n in range(short.state_count)] == [
        long.state(n) for n in range(long.state_count)
    ]
    assert steps_of(short) == steps_of(long)


@given(copied_devices())
@settings(max_examples=max(EXAMPLES // 5, 5))
def test_copies_have_the_findings_of_what_is_written_out(drawn: Copied) -> None:
    """With the same scenarios, but for the names; and the same verdict on each requirement."""
    how = Search(engine="plain", limits=Limits(states=MOST_STATES))
    short, long = (check([device.read()], search=how) for device in (drawn.short, drawn.long))
    found, expected = findings_of(short), findings_of(long)
    assert [one for one in found if one[0] not in BY_PLACE] == [
        one for one in expected if one[0] not in BY_PLACE
    ]
    assert {one for one in found if one[1] != "list.busy"} <= set(expected)
    assert [(written_out_name(j.need.name), j.verdict) for j in short.requirements] == [
        (j.need.name, j.verdict) for j in long.requirements
    ]


@given(copied_devices())
@settings(max_examples=max(EXAMPLES // 5, 5))
def test_all_engines_agree_on_copies(drawn: Copied) -> None:
    """The plain interpreter, the compiled engine and the second reading."""
    device = drawn.short.read()
    plain = explore(compose(device), max_states=MOST_STATES // 5)
    if not plain.complete:
        return
    assert_same_in_both(plain, search(device, MOST_STATES))
    assert_same_space(plain, explore_with(plain.product, Search(engine="compiled", threads=1)))
