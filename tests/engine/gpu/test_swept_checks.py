"""A check without transitions finds what one with them finds: findings, scenarios, verdicts on
requirements, how switches end.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from modecheck.checks.explored import Explored, Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import UNDECIDED
from modecheck.checks.verdict import check
from modecheck.engine import choice
from modecheck.engine.choice import EngineUnavailable, Search
from modecheck.engine.large import swept_loops
from modecheck.engine.large.swept_space import SweptSpace
from modecheck.engine.native.graph import as_compiled
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.model.parts import Device
from modecheck.product.ir import Product
from tests.engine.gpu.swept import by_arrays, by_kernels
from tests.generation.devices import devices
from tests.models.bundled import is_small
from tests.sweeps import sweep

pytestmark = pytest.mark.usefixtures("own_cache")

LOOPING = Path("models/faulty/keeps_calling_with_an_old_key.yaml")
"""It has a livelock, and a requirement that needs an observer."""
BUNDLED = [
    *filter(is_small, sorted(Path("models/small").glob("*.yaml"))),
    *filter(is_small, sorted(Path("models/faulty").glob("*.yaml"))),
]
explored = choice._explored


def in_memory(device: Device) -> Verdict:
    return check([device], search=Search(engine="compiled", threads=1))


def without_transitions(
    device: Device, patch: pytest.MonkeyPatch, space_of: Callable[[Product], SweptSpace]
) -> Verdict:
    """The same, where every product is explored without transitions."""
    patch.setattr(choice, "_explored", lambda product, *_: space_of(product))
    verdict = check([device], search=Search(engine="compiled", threads=1))
    patch.undo()
    assert all(one.reduced.swept for one in verdict.explored)
    return verdict


def listed(product: Product) -> SweptSpace:
    """With sets as arrays of truth values."""
    compiled = Search(engine="compiled", threads=1)
    space = as_compiled(explored(product, compiled, Silent(), None))
    assert space is not None
    return by_arrays(space)


def told(one: Explored) -> list[Any]:
    """What is told of a variant."""
    return [one.endings, one.modes, one.coverage, one.extent, one.switches, one.reduced.not_asked]


def judged(verdict: Verdict) -> list[Any]:
    """The verdicts on requirements. Those that share an exploration may tell another one of several
    shortest scenarios than those that have one each, and another loop, which may be longer.
    """
    return [
        (one.need, one.verdict, one.finding and length(one.finding), one.rests_on, one.remark)
        for one in verdict.requirements
    ]


def length(finding: Finding) -> int | None:
    """The steps of a scenario that ends; None of one with a loop."""
    return finding.steps if finding.trace and not finding.trace.loop_from else None


def others(verdict: Verdict) -> list[Finding]:
    """The findings but those of requirements."""
    return [one for one in verdict.findings if one.code != "broken-requirement"]


def assert_finds_the_same(expected: Verdict, found: Verdict) -> None:
    """All that a check tells."""
    assert [one.id for one in found.findings] == [one.id for one in expected.findings]
    assert others(found) == others(expected)
    assert judged(found) == judged(expected)
    assert (found.complete, found.remarks) == (expected.complete, expected.remarks)
    for one, other in zip(found.explored, expected.explored, strict=True):
        assert told(one) == told(other)


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: path == LOOPING), ids=str)
def test_a_check_finds_the_same(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On both kinds of sets."""
    device = read_device(str(path))
    expected = in_memory(device)
    for space_of in (listed, by_kernels):
        assert_finds_the_same(expected, without_transitions(device, monkeypatch, space_of))


@pytest.mark.thorough
@pytest.mark.parametrize("timed", [False, True])
@given(data=st.data())
@settings(max_examples=settings().max_examples // 2)
def test_a_check_of_random_devices_finds_the_same(timed: bool, data: st.DataObject) -> None:
    """With requirements about runs; whether the core is shrunk as far as it can be or not at all.
    Where it is, a requirement may rest on more.
    """
    device = data.draw(devices(runs=True, timed=timed)).read()
    expected = in_memory(device)
    assume(expected.explored[0].exploration.state_count < 500)
    event(f"loops: {any(one.code in ('livelock', 'zeno') for one in expected.findings)}")
    with pytest.MonkeyPatch.context() as patch:
        assert_finds_the_same(expected, without_transitions(device, patch, listed))
        patch.setattr(swept_loops, "FEW", 0)
        found = without_transitions(device, patch, listed)
    assert others(found) == others(expected)
    for one, other in zip(found.requirements, expected.requirements, strict=True):
        assert one.verdict == other.verdict


def test_what_takes_too_many_transitions_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """No check that could not look everywhere says that there is nothing, and no requirement that
    needs a loop to be broken holds; where no state is left, no transitions are needed.
    """
    device = read_device(str(LOOPING))
    whole = in_memory(device)
    assert "livelock" in {one.code for one in whole.findings}
    monkeypatch.setattr(swept_loops, "FEW", 0)
    monkeypatch.setattr(swept_loops, "MOST_TRANSITIONS", 0)
    found = without_transitions(device, monkeypatch, listed)
    (one,) = found.explored
    assert one.reduced.not_asked == ("livelock", "needless-acceptance")
    assert (one.extent, found.complete) == ("all states explored", False)


def test_an_observer_for_which_there_is_no_room_decides_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The requirement is undecided, and says why."""

    def first_alone(product: Product) -> SweptSpace:
        if product.observers:
            raise EngineUnavailable("its memory is too small, or taken by others", "gpu")
        return listed(product)

    device = read_device(str(LOOPING))
    found = without_transitions(device, monkeypatch, first_alone)
    (one,) = (one for one in found.requirements if one.verdict == UNDECIDED)
    why = "its observer cannot be explored: its memory is too small, or taken by others"
    assert one.remark == why
    assert not found.complete
