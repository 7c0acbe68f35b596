"""Machines whose states were counted elsewhere: philosophers, rings, puzzles, shift registers.

The marks (PC, MC, C) are explained in conftest.py.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from modecheck.checks.judged import HOLDS
from modecheck.checks.verdict import check
from modecheck.engine.search.exploration import PlainExploration, explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.generation.devices import device_from
from tests.sweeps import sweep

Explored = Callable[[str], PlainExploration]

CUBE_LAYERS = [1, 9, 54, 321, 1847, 9992, 50136]
"""OEIS A079761 as far as the plain engine goes in a few seconds; the whole has 3,674,160 states."""

EIGHT_PUZZLE_LAYERS = [
    1, 2, 4, 8, 16, 20, 39, 62, 116, 152, 286, 396, 748, 1024, 1893, 2512, 4485, 5638, 9529,
    10878, 16993, 17110, 23952, 20224, 24047, 15578, 14560, 6274, 3910, 760, 221, 2,
]  # fmt: skip
"""OEIS A089473."""

PHILOSOPHERS = {
    "philosopher": ({2: 6, 3: 14, 4: 34, 5: 82, 6: 198, 7: 478, 8: 1154}, 1),
    "philosopher_either_fork": ({n: 3**n for n in range(2, 9)}, 2),
    "philosopher_both_forks": ({2: 3, 3: 4, 4: 7, 5: 11, 6: 18, 7: 29, 8: 47}, 0),
}
"""States for each number of philosophers, and deadlocks: OEIS A002203, 3^n, OEIS A000032."""

ONE_LEFT_HANDED = {2: 5, 3: 12, 4: 29, 5: 70, 6: 169, 7: 408, 8: 985}
"""OEIS A000129."""


def stuck_states(exploration: PlainExploration) -> list[int]:
    """The states that no transition leaves."""
    return [n for n in range(exploration.expanded) if not exploration.graph.edges(n)]


def first_depth(exploration: PlainExploration, requirement: str) -> int:
    """The depth of the first state in which the condition of a requirement holds."""
    return exploration.depth_of(
        next(exploration.numbered(exploration.mark(f"requirement:{requirement}")))
    )


def ring_of_philosophers(models: Path, folder: Path, chips: list[str]) -> PlainExploration:
    """Philosophers of these chip files around a table, explored."""
    count = len(chips)
    lines = ["device: dining philosophers", "chips:"]
    for i, chip in enumerate(chips):
        neighbours = f"{{left: p{(i - 1) % count}, right: p{(i + 1) % count}}}"
        lines.append(f"  p{i}: {{file: {models / 'chips' / chip}.yaml, with: {neighbours}}}")
    device = folder / "device.yaml"
    device.write_text("\n".join(lines) + "\n")
    return explore(compose(read_device(str(device))))


@pytest.mark.parametrize("n", range(2, 9))
@pytest.mark.parametrize("chip", PHILOSOPHERS)
def test_rings_of_philosophers_have_the_published_states_and_deadlocks(
    models: Path, tmp_path: Path, chip: str, n: int
) -> None:
    """Pell-Lucas, 3^n and Lucas numbers of states; the deadlocks lie n steps away (MC)."""
    states, deadlocks = PHILOSOPHERS[chip]
    exploration = ring_of_philosophers(models, tmp_path, [chip] * n)
    assert exploration.state_count == states[n]
    stuck = stuck_states(exploration)
    assert [exploration.depth_of(state) for state in stuck] == [n] * deadlocks


@pytest.mark.parametrize("n", range(2, 9))
def test_one_left_handed_philosopher_breaks_the_deadlock(
    models: Path, tmp_path: Path, n: int
) -> None:
    """Pell numbers of states, no deadlock (OEIS A000129, MC), wherever the left-handed one sits."""
    chips = ["philosopher_left_handed", *["philosopher"] * (n - 1)]
    for _ in range(2):
        exploration = ring_of_philosophers(models, tmp_path, chips)
        assert exploration.state_count == ONE_LEFT_HANDED[n]
        assert not stuck_states(exploration)
        chips.append(chips.pop(0))


@pytest.mark.parametrize("n", range(2, 9))
def test_bundled_philosophers_are_the_published_ring(explored: Explored, n: int) -> None:
    """Pell-Lucas numbers of states (OEIS A002203, MC) and one state that nothing leaves."""
    exploration = explored(f"philosophers_{n}")
    assert exploration.state_count == PHILOSOPHERS["philosopher"][0][n]
    assert len(stuck_states(exploration)) == 1


@pytest.mark.parametrize("n", [3, 4, 5])
def test_bundled_variants_of_the_philosophers_have_the_published_states(
    explored: Explored, n: int
) -> None:
    """Pell numbers, powers of 3 and Lucas numbers (OEIS A000129, A000032, MC)."""
    counts = [
        explored(f"philosophers_{variant}_{n}").state_count
        for variant in ("left_handed", "either_fork", "both_forks")
    ]
    either, both = (
        PHILOSOPHERS[f"philosopher_{variant}"][0][n] for variant in ("either_fork", "both_forks")
    )
    assert counts == [ONE_LEFT_HANDED[n], either, both]


def layers_of_counters(count: int, modulus: int) -> list[int]:
    """The coefficients of (1 + x + ... + x^(modulus - 1))^count."""
    layers = [1]
    for _ in range(count):
        product = [0] * (len(layers) + modulus - 1)
        for power, coefficient in enumerate(layers):
            for step in range(modulus):
                product[power + step] += coefficient
        layers = product
    return layers


@pytest.mark.parametrize(("count", "modulus"), [(4, 4), (3, 8), (4, 8)])
def test_layers_of_independent_counters_are_coefficients(
    explored: Explored, count: int, modulus: int
) -> None:
    """k^n states in layers that algebra gives, and n transitions from each (MC)."""
    exploration = explored(f"counters_{count}_{modulus}")
    assert exploration.layers == layers_of_counters(count, modulus)
    assert exploration.state_count == modulus**count
    assert exploration.transitions == count * modulus**count


def test_layers_of_four_counters_modulo_four_are_as_listed(explored: Explored) -> None:
    """The list for (4, 4), so that the formula above is held against numbers too (MC)."""
    expected = [1, 4, 10, 20, 31, 40, 44, 40, 31, 20, 10, 4, 1]
    assert explored("counters_4_4").layers == expected


@pytest.mark.parametrize("n", [3, 4, 5])
def test_tower_has_the_published_size_and_solution(explored: Explored, n: int) -> None:
    """3^n states, 3(3^n - 1) moves, and 2^n - 1 of them to the last peg, none farther (MC)."""
    exploration = explored(f"hanoi_{n}")
    assert exploration.state_count == 3**n
    assert exploration.transitions == 3 * (3**n - 1)
    assert exploration.depth == first_depth(exploration, "unsolved") == 2**n - 1


def test_wolf_goat_and_cabbage_cross_in_seven_in_two_ways(explored: Explored) -> None:
    """10 safe states, 20 transitions, 7 crossings in two shortest paths, the known layers (MC)."""
    exploration = explored("wolf_goat_cabbage")
    assert (exploration.state_count, exploration.transitions) == (10, 20)
    assert exploration.layers == [1, 1, 1, 2, 2, 1, 1, 1]
    assert first_depth(exploration, "unsolved") == 7
    assert (
        shortest_ways(
            exploration, next(exploration.numbered(exploration.mark("requirement:unsolved")))
        )
        == 2
    )
    assert not list(exploration.numbered(exploration.mark("requirement:not_eaten")))


def shortest_ways(exploration: PlainExploration, goal: int) -> int:
    """How many shortest paths lead from the initial state to another."""
    ways = {0: 1}
    for source in range(goal):
        for edge in exploration.edges_from(source):
            if exploration.depth_of(edge.target) == exploration.depth_of(source) + 1:
                ways[edge.target] = ways.get(edge.target, 0) + ways.get(source, 0)
    return ways[goal]


@pytest.mark.parametrize(
    ("missionaries", "boat", "crossings"), [(3, 2, 11), (4, 2, None), (4, 3, 9), (5, 3, 11)]
)
def test_missionaries_cross_in_the_published_number_of_crossings(
    explored: Explored, missionaries: int, boat: int, crossings: int | None
) -> None:
    """OEIS A356480 (PC): 11, no way at all, 9, 11."""
    exploration = explored(f"missionaries_{missionaries}_{boat}")
    solved = list(exploration.numbered(exploration.mark("requirement:unsolved")))
    assert [exploration.depth_of(state) for state in solved[:1]] == (
        [crossings] if crossings else []
    )


def test_three_missionaries_have_sixteen_states(explored: Explored) -> None:
    """16 reachable safe states with a boat for two (OEIS A356480, PC)."""
    assert explored("missionaries_3_2").state_count == 16


@pytest.mark.parametrize(("jugs", "steps"), [("jugs_3_5", 6), ("jugs_8_5_3", 7)])
def test_jugs_are_measured_out_in_the_known_number_of_steps(
    explored: Explored, jugs: str, steps: int
) -> None:
    """4 litres from 3 and 5 and a tap in 6 steps, 8-5-3 to 4-4 in 7 pours; 16 states each (MC)."""
    exploration = explored(jugs)
    assert exploration.state_count == 16
    assert first_depth(exploration, "unsolved") == steps


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_readers_and_writers_have_the_published_states(explored: Explored, n: int) -> None:
    """2^n + n states (OEIS A006127, MC): any set of readers, or one writer."""
    exploration = explored(f"readers_writers_{n}")
    assert exploration.state_count == 2**n + n
    assert not list(exploration.numbered(exploration.mark("requirement:alone")))


@pytest.mark.parametrize(
    ("n", "states"), [(2, 12), (3, 28), (4, 65), (5, 166), (6, 476), (7, 1492), (8, 4941)]
)
def test_token_ring_has_the_published_states(explored: Explored, n: int, states: int) -> None:
    """Machines 0 to n of n + 1 states, started at 0, 1, 2...: MC; 166 stands in open net data."""
    exploration = explored(f"token_ring_{n}")
    assert exploration.state_count == states
    assert not stuck_states(exploration)


def test_ring_comes_to_one_privilege_from_every_start(models: Path) -> None:
    """Dijkstra 1974: with as many values as machines from each of the 4^4 states; with two, not."""
    path = models / "token_ring_any_start.yaml"
    verdict = check([read_device(str(path))])
    assert verdict.explored[0].exploration.state_count == 4**4
    assert {one.verdict for one in verdict.explored[0].requirements} == {HOLDS}
    few = path.read_text(encoding="utf-8").replace("last: 3", "last: 1")
    few = few.replace("file: chips", f"file: {models}/chips")
    found = check([device_from(few)]).findings
    assert [one.id for one in found] == ["broken-requirement:one_privilege"]


@pytest.mark.parametrize("bits", sweep([8, 16], lambda bits: bits == 8))
def test_shift_register_passes_through_every_word_but_zero(explored: Explored, bits: int) -> None:
    """Taps (8,6,5,4) and (16,15,13,4) have the longest period, 2^bits - 1 (MC)."""
    exploration = explored(f"shift_register_{bits}")
    assert exploration.state_count == exploration.transitions == 2**bits - 1
    assert exploration.depth == 2**bits - 2


@pytest.mark.thorough
def test_first_layers_of_the_cube_are_published(models: Path) -> None:
    """OEIS A079761 (PC), nine moves from each state."""
    product = compose(read_device(str(models / "cube_2x2x2.yaml")))
    exploration = explore(product, max_states=sum(CUBE_LAYERS))
    assert exploration.layers == CUBE_LAYERS
    inner = sum(CUBE_LAYERS[:-1])
    assert exploration.graph.first[inner] == 9 * inner


@pytest.mark.thorough
def test_all_of_the_8_puzzle_is_published(explored: Explored) -> None:
    """OEIS A089473 (PC): 181,440 states, 483,840 transitions, the farthest 31 moves away."""
    exploration = explored("eight_puzzle")
    assert exploration.layers == EIGHT_PUZZLE_LAYERS
    assert (exploration.state_count, exploration.transitions) == (181_440, 483_840)
    assert exploration.depth == 31
