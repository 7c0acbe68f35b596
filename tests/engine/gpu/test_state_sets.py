"""Sets of states: what each sweep finds is what it says, told by the transitions one by one, of
arrays of truth values and of sets that kernels for a GPU keep, run by one thread of the processor.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings

from modecheck.engine.gpu.explore_on_gpu import machine_of
from modecheck.engine.gpu.gpu_sets import code_for
from modecheck.engine.gpu.kernel_code import ptx_of
from modecheck.engine.gpu.set_kernels import (
    count_members,
    list_transitions,
    select_valued,
    sweep_sources,
    sweep_targets,
)
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.large.state_sets import Followed, StateSets
from modecheck.engine.native.graph import CompiledExploration
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.benchmarks.explore import counters, product_of
from tests.engine.gpu.swept import by_arrays, by_kernels, explored
from tests.generation.devices import Drawn, devices

pytestmark = pytest.mark.usefixtures("own_cache")

FAULTY = Path("models/faulty/trusts_an_old_flash.yaml")
"""It has failing steps, and may begin in several states."""
Numbers = set[int]


class Plainly:
    """The same questions, asked of a graph's transitions one by one."""

    def __init__(self, graph: CompiledExploration) -> None:
        self._graph = graph

    def pairs(self, followed: Followed) -> Iterator[tuple[int, int]]:
        """Source and target of each followed transition."""
        graph = self._graph.graph
        for number in range(self._graph.state_count):
            own = self._graph.marks_at(number)
            for edge in graph.edges(number):
                target = int(graph.targets[edge])
                gained = self._graph.marks_at(target) & ~own & followed.gains
                stays = followed.away and target == number
                if followed.kinds[graph.notes[edge]] and not gained and not stays:
                    yield number, target

    def sources(self, followed: Followed, of: Numbers, into: Numbers) -> Numbers:
        return {one for one, other in self.pairs(followed) if one in of and other in into}

    def targets(self, followed: Followed, of: Numbers, without: Numbers) -> Numbers:
        return {other for one, other in self.pairs(followed) if one in of} - without

    def widened(self, into: Numbers, followed: Followed, inside: Numbers) -> Numbers:
        more = into | self.sources(followed, inside, into)
        return into if more == into else self.widened(more, followed, inside)

    def trimmed(self, own: Numbers, followed: Followed) -> Numbers:
        left = own & self.sources(followed, own, own)
        return own if left == own else self.trimmed(left, followed)


def assert_means_what_it_says(graph: CompiledExploration, sets: StateSets, seed: int) -> None:
    """Each sweep, over sets that are drawn."""
    dice, count = random.Random(seed), graph.state_count  # noqa: S311 - not for secrets
    bits = len(graph.product.conditions)
    for _ in range(4):
        kinds = tuple(dice.random() < 0.8 for _ in sets.kinds)
        followed = Followed(kinds, dice.random() < 0.5, dice.choice((0, dice.getrandbits(bits))))
        one, two = ({n for n in range(count) if dice.random() < 0.7} for _ in range(2))
        few = set(dice.sample(range(count), min(count, 2)))
        assert_sweeps(Plainly(graph), sets, followed, (one, two, few, set(range(count))))
        assert_knows_states(graph, sets, sorted(one & set(range(graph.expanded))), dice)


def assert_sweeps(
    plain: Plainly, sets: StateSets, followed: Followed, drawn: tuple[Numbers, ...]
) -> None:
    """Each sweep, by some transitions."""

    def own(numbers: Numbers) -> object:
        return sets.of(np.array(sorted(numbers), np.uint32))

    def told(found: object) -> Numbers:
        numbers = set(sets.numbers(found).tolist())
        assert sets.count(found) == len(numbers)
        return numbers

    def changed(change: Callable[[object], None], numbers: Numbers) -> Numbers:
        found = own(numbers)
        change(found)
        return told(found)

    one, two, few, every = drawn
    assert told(sets.sources(followed)) == plain.sources(followed, every, every)
    assert told(sets.sources(followed, own(one))) == plain.sources(followed, one, every)
    found = plain.sources(followed, one, two)
    assert told(sets.sources(followed, own(one), own(two))) == found
    assert sets.first_step(own(one), own(two), followed) == min(found, default=None)
    assert told(sets.targets(own(few), followed, own(one))) == plain.targets(followed, few, one)
    widened = changed(lambda found: sets.widen(found, followed), few)
    assert widened == plain.widened(few, followed, every)
    widened = changed(lambda found: sets.widen(found, followed, own(two)), few)
    assert widened == plain.widened(few, followed, two)
    for some in (one, every):
        left = changed(lambda found: sets.trim(found, followed), some)
        assert left == plain.trimmed(some, followed)


def assert_knows_states(
    graph: CompiledExploration, sets: StateSets, some: list[int], dice: random.Random
) -> None:
    """The values of fields, and all transitions of some states, if they are not too many."""
    field = dice.randrange(len(graph.product.fields))
    column = graph.found.column(field).tolist()
    values = dice.sample(sorted(set(column)), dice.randint(1, len(set(column))))
    told = sets.numbers(sets.valued(field, values)).tolist()
    assert told == [number for number, value in enumerate(column) if value in values]
    expected = [
        (number, target, label, moved, events)
        for number in some
        for label, target, moved, events in graph.graph.transitions_of(number)
    ]
    numbers = np.array(some, np.uint32)
    found = sets.transitions(numbers, len(expected))
    assert found is not None
    sources = np.repeat(numbers, np.diff(found.first)).tolist()
    kinds = [sets.kinds[kind] for kind in found.kinds.tolist()]
    rows = zip(sources, found.targets.tolist(), kinds, strict=True)
    assert sorted((n, target, *kind) for n, target, kind in rows) == sorted(expected)
    if expected:
        assert sets.transitions(numbers, len(expected) - 1) is None


def test_sweeps_mean_what_they_say() -> None:
    """On both kinds of sets."""
    graph = explored(compose(read_device(str(FAULTY))))
    assert_means_what_it_says(graph, by_arrays(graph).sets, 1)
    assert_means_what_it_says(graph, by_kernels(graph.product).sets, 1)


@pytest.mark.thorough
@given(devices())
@settings(max_examples=settings().max_examples // 2)
def test_sweeps_mean_what_they_say_of_random_devices(drawn: Drawn) -> None:
    """The same of random devices."""
    graph = explored(compose(drawn.read()))
    assume(graph.state_count < 500)
    assert_means_what_it_says(graph, by_arrays(graph).sets, graph.state_count)
    assert_means_what_it_says(graph, by_kernels(graph.product).sets, graph.state_count)


@pytest.mark.parametrize(
    "kernel", [sweep_sources, sweep_targets, list_transitions, select_valued, count_members]
)
def test_kernels_of_sets_become_ptx(kernel: Kernel) -> None:
    """No device is needed for it."""
    machine = machine_of(product_of(counters(2)), ())
    assert f".entry {kernel.__name__}(" in ptx_of(code_for(machine, kernel))
