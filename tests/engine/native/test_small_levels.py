"""Small levels, which the first thread expands alone, one after another."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.engine.contract.space import INTERRUPTION, Limits
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.native.reach import ReachedStates, reach
from modecheck.engine.native.workers import Worker
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.product.composition import compose

STEPS = 9_000
CHAIN = f"""\
device: one counter
chips:
  counter:
    variables: {{n: {{range: [0, {STEPS}]}}}}
    states: [s]
    rules: [{{if: n < {STEPS}, do: n = n + 1}}]
"""
"""More levels than are expanded between two looks at the clock, of one state each."""


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> CompiledProduct:
    path = Path(tmp_path_factory.mktemp("chain")) / "device.yaml"
    path.write_text(CHAIN, encoding="utf-8")
    product = compose(read_device(str(path)))
    return compiled(product, system_actions(product))


def explored(machine: CompiledProduct, threads: int, limits: Limits | None = None) -> ReachedStates:
    return reach(machine, threads=threads, limits=limits or Limits(), reporter=Silent())


@pytest.mark.parametrize("threads", [1, 2])
def test_a_chain_has_a_level_for_each_state(machine: CompiledProduct, threads: int) -> None:
    """Each level has one state, and every thread knows where its own states of it begin."""
    reached = explored(machine, threads)
    assert reached.layers == [1] * (STEPS + 1)
    assert reached.expanded_levels == STEPS + 1
    assert reached.stopped_by == ""
    assert all(len(worker.levels) == STEPS + 2 for worker in reached.workers)


def test_a_bound_of_states_is_kept(machine: CompiledProduct) -> None:
    """Where levels are small, a bound of states ends the exploration as well."""
    reached = explored(machine, 2, Limits(states=500))
    assert reached.stopped_by == Limits(states=500).reached_states
    assert reached.states > 500
    assert sum(reached.layers) == reached.states


def test_levels_are_noted_when_somebody_interrupts(
    machine: CompiledProduct, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was expanded before Ctrl-C counts level by level."""
    expand = Worker.expand_small_levels

    def interrupted(worker: Worker, *arguments: object) -> None:
        expand(worker, *arguments)  # type: ignore[arg-type]
        raise KeyboardInterrupt

    monkeypatch.setattr(Worker, "expand_small_levels", interrupted)
    reached = explored(machine, 2)
    assert reached.stopped_by == INTERRUPTION
    assert reached.expanded_levels == len(reached.layers) == reached.states - 1
    assert set(reached.layers) == {1}
