"""What is still done after an exploration was interrupted: little, and nothing that is claimed."""

from __future__ import annotations

import contextlib
import signal
from pathlib import Path

import numpy as np
import pytest

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import INTERRUPTION
from modecheck.engine.native import reach as reaching
from modecheck.engine.native import run
from modecheck.engine.native.graph import (
    FLAGGED_TOGETHER,
    CompiledExploration,
    as_compiled,
    graph_without_transitions,
)
from modecheck.engine.native.interruptions import Interruptions
from modecheck.engine.native.native_arrays import NativeArrays
from modecheck.engine.native.reach import ReachedStates
from modecheck.engine.native.workers import Worker
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.benchmarks.explore import counters


@pytest.fixture(scope="module")
def interrupted(tmp_path_factory: pytest.TempPathFactory) -> CompiledExploration:
    """Seven octal counters, of which all states had been found when somebody interrupted."""
    path = Path(tmp_path_factory.mktemp("octal")) / "device.yaml"
    path.write_text(counters(7), encoding="utf-8")
    reach = reaching.reach

    def reached(*arguments: object, **named: object) -> ReachedStates:
        found = reach(*arguments, **named)  # type: ignore[arg-type]
        found.stopped_by = INTERRUPTION
        return found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run, "reach", reached)
        # That it is large is known: nothing is begun unoptimised.
        search = Search(engine="compiled", threads=2, expected=8**7)
        space = as_compiled(explore_with(compose(read_device(str(path))), search))
    assert space is not None
    return space


def test_transitions_are_not_waited_for(interrupted: CompiledExploration) -> None:
    """All states found are told and none of their many transitions is kept; nothing is complete."""
    assert interrupted.stopped_by == "an interruption"
    assert interrupted.state_count == 8**7
    assert interrupted.transitions == 7 * 8**7
    assert interrupted.graph.linked == 0
    assert list(interrupted.stuck(1)) == []


def test_states_not_looked_at_count_as_not_expanded(interrupted: CompiledExploration) -> None:
    """With no time at all one part is looked at; without a bound all are."""
    states = interrupted.found
    before = states.expanded
    assert before > FLAGGED_TOGETHER
    graph_without_transitions(states)
    assert states.expanded == before
    graph_without_transitions(states, seconds=0.0)
    assert states.expanded == FLAGGED_TOGETHER
    assert interrupted.is_expanded(FLAGGED_TOGETHER - 1)
    assert not interrupted.is_expanded(FLAGGED_TOGETHER)
    states.expanded = before


def test_sets_of_marks_are_counted_alike_when_few_and_when_many() -> None:
    """First places and counts against plain Python, below and above the number that is few."""
    for kinds in (3, 1000):
        marks = (np.arange(5000, dtype=np.uint64) * np.uint64(7919)) % np.uint64(kinds)
        values = marks.tolist()
        found = NativeArrays().counted(marks)
        assert {own: (at.first, at.count) for own, at in found.items()} == {
            own: (values.index(own), values.count(own)) for own in set(values)
        }


@pytest.mark.usefixtures("interruptible")
def test_an_interruption_that_was_forgotten_is_raised_again() -> None:
    """Where Python cannot raise it, it is noted; and the usual handler is back afterwards."""
    with Interruptions() as interruptions:
        interruptions.raise_noted()
        with contextlib.suppress(KeyboardInterrupt):  # as in a call from LLVM
            signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            interruptions.raise_noted()
        interruptions.raise_noted()
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.usefixtures("interruptible")
def test_an_interruption_while_a_kernel_is_loaded_ends_the_exploration(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """It is told as every other, however it was forgotten."""
    path = tmp_path / "device.yaml"
    path.write_text(counters(5), encoding="utf-8")
    expand = Worker.expand_small_levels

    def interrupted(worker: Worker, *arguments: object) -> None:
        with contextlib.suppress(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
        expand(worker, *arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(Worker, "expand_small_levels", interrupted)
    space = explore_with(compose(read_device(str(path))), Search(engine="compiled", threads=1))
    assert space.stopped_by == INTERRUPTION
    assert space.state_count < 8**5
