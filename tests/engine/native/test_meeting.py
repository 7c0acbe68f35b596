"""Threads meet at the end of every level, in machine code, however long each of them waits."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from modecheck.engine.contract.space import Limits
from modecheck.engine.language import native_kernel
from modecheck.engine.native import level_kernels, reach, table, workers
from modecheck.engine.native.machine import CompiledProduct, compiled
from modecheck.engine.reference.system_actions import system_actions
from modecheck.engine.search.exploration import Silent
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.benchmarks.explore import counters
from tests.sweeps import sweep

pytestmark = pytest.mark.usefixtures("own_cache")

COUNT = 4
LAYERS = [1]
for _ in range(COUNT):
    # A ring of eight has one state at each distance from 0 to 7: multiply by 1 + x + ... + x^7.
    LAYERS = [sum(LAYERS[max(0, n - 7) : n + 1]) for n in range(len(LAYERS) + 7)]


STOPPED = """
  switch:
    states: [on, off]
    rules: [{in: on, to: off}]
"""
"""Where it is off, nothing can happen any more."""


@pytest.fixture(params=["", STOPPED], ids=["round and round", "dead ends"])
def impatient(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Iterator[CompiledProduct]:
    """Octal counters, perhaps with a switch that stops all, explored by threads that look once
    whether all are there, look at the clock all the time, and never leave a level to the first.
    """
    for module in (level_kernels, reach):
        monkeypatch.setattr(module, "FEW", 0)
    monkeypatch.setattr(level_kernels, "PATIENCE", 1)
    monkeypatch.setattr(level_kernels, "CHUNK", 3)
    monkeypatch.setattr(workers, "QUOTA", 1)
    monkeypatch.setattr(table, "FIRST_LINES", 16)
    native_kernel._digest.cache_clear()
    path = tmp_path / "device.yaml"
    text = counters(COUNT)
    if request.param:
        text = text.replace("{do:", "{if: switch.state == on, do:") + request.param
    path.write_text(text, encoding="utf-8")
    product = compose(read_device(str(path)))
    yield compiled(product, system_actions(product))
    native_kernel._digest.cache_clear()


@pytest.mark.parametrize("threads", sweep([1, 2, 3, 7], lambda threads: threads == 2))
def test_all_halt_and_go_on_at_the_same_level(impatient: CompiledProduct, threads: int) -> None:
    """No state is lost and none is found twice, by depth (the coefficients of a product of
    polynomials), when tables grow, threads nap, and levels have one state or hundreds.
    """
    layers = layers_of(impatient)
    for _ in range(8):
        found = reach.reach(impatient, threads=threads, limits=Limits(), reporter=Silent())
        assert found.layers == layers
        assert found.expanded_levels == len(layers)
        assert sum(layers) == found.states
        ends = [[*worker.levels, worker.filled][1 : len(layers) + 1] for worker in found.workers]
        assert [sum(level) for level in zip(*ends, strict=True)] == [
            sum(layers[: depth + 1]) for depth in range(len(layers))
        ]


def layers_of(machine: CompiledProduct) -> list[int]:
    """With the switch, what was one level off is off now, one level later."""
    if len(machine.product.chips) == COUNT:
        return LAYERS
    return [on + off for on, off in zip([*LAYERS, 0], [0, *LAYERS], strict=True)]


@pytest.mark.parametrize("threads", [1, 3])
def test_a_bound_of_states_ends_it_behind_a_whole_level(
    impatient: CompiledProduct, threads: int
) -> None:
    """No level is begun when there are too many states; of the last one that was expanded it is not
    known that all that it leads to is kept.
    """
    found = reach.reach(impatient, threads=threads, limits=Limits(states=100), reporter=Silent())
    assert found.stopped_by == Limits(states=100).reached_states
    assert found.states > 100
    assert found.layers == layers_of(impatient)[: len(found.layers)]
    assert found.expanded_levels == len(found.layers) - 2
