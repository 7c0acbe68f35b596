"""Published machines whose text needs a table or a remainder, written without helpers."""

from __future__ import annotations

from fractions import Fraction

from modecheck.chances.chain import chain_of
from modecheck.chances.reaching import reached
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose, compose_for_chances
from tests.generation.devices import device_from

LADDERS = {1: 38, 4: 14, 9: 31, 21: 42, 28: 84, 36: 44, 51: 67, 71: 91, 80: 100}
CHUTES = {16: 6, 47: 26, 49: 11, 56: 53, 62: 19, 64: 60, 87: 24, 93: 73, 95: 75, 98: 78}
GOES = [(LADDERS | CHUTES).get(square, square) for square in range(101)]

GAME = f"""
device: snakes and ladders
constants: {{goal: 100, goes: {GOES}}}
chips:
  piece:
    variables: {{at: {{range: [0, goal]}}}}
    states: {{playing: {{rest: true}}}}
    rules:
""" + "".join(
    f"      roll_{n}: {{if: at < goal, do: 'at = goes[min(at + {n}, goal)] if at + {n} <= goal "
    "else at'}\n"
    for n in range(1, 7)
)


def mean_by_elimination() -> Fraction:
    """The mean number of rolls by plain elimination on the 101 squares, which shares no code."""
    rows = []
    for at in range(100):
        row = [Fraction(0)] * 102
        row[at] += 1
        row[101] = Fraction(1)
        for n in range(1, 7):
            row[GOES[at + n] if at + n <= 100 else at] -= Fraction(1, 6)
        rows.append(row[:100] + row[101:])
    for pivot in range(100):
        rows[pivot:] = sorted(rows[pivot:], key=lambda row: row[pivot] == 0)
        scale = rows[pivot][pivot]
        rows[pivot] = [one / scale for one in rows[pivot]]
        for number, row in enumerate(rows):
            if number != pivot and row[pivot]:
                factor = row[pivot]
                rows[number] = [a - factor * b for a, b in zip(row, rows[pivot], strict=True)]
    return rows[0][100]


def test_snakes_and_ladders_by_a_table() -> None:
    """39.2 rolls in the mean (Althoen, King and Schilling 1993), seven at least: both from memory;
    and the exact mean by elimination. Squares where a ladder or a chute begins are never held.
    """
    device = device_from(f"{GAME}chances: {{over: {{reach: piece.at == goal}}}}\n")
    chain = chain_of(compose_for_chances(device).product)
    (found,) = reached(chain, chain.holds("until:over")).starts
    assert found.steps is not None
    assert float(found.steps) == float(mean_by_elimination())
    assert round(float(found.steps), 1) == 39.2
    exploration = explore(compose(device))
    assert exploration.state_count == 101 - len(LADDERS | CHUTES)
    product = exploration.product
    field = next(n for n, one in enumerate(product.fields) if one.name == "piece.at")
    ends = [
        n for n in range(exploration.state_count) if exploration.states_at([n])[0][field] == 100
    ]
    layers, depth = list(exploration.layers), 0
    while ends[0] >= sum(layers[: depth + 1]):
        depth += 1
    assert depth == 7


RING = """
device: Dijkstra's ring of K-state machines
constants: {{k: {k}}}
chips:
{chips}
"""


def test_dijkstras_ring_by_a_remainder() -> None:
    """The K-state token ring (Dijkstra 1974), the bottom machine adding 1 modulo K, as published:
    12, 28, 65 and 166 states for 3 to 6 machines with K as many, begun at 0, 1, 2, … (the
    166 of an open standard's net data, from memory; the others by brute force).
    """
    for count, states in ((3, 12), (4, 28), (5, 65), (6, 166)):
        chips = [
            f"  m{n}: {{states: {{on: {{rest: true}}}}, variables: {{x: {{range: [0, {count - 1}], "
            f"start: {n}}}}}, rules: [{{{rule}}}]}}"
            for n in range(count)
            for rule in [
                f"if: x != m{n - 1}.x, do: x = m{n - 1}.x"
                if n
                else f"if: x == m{count - 1}.x, do: x = (x + 1) % k"
            ]
        ]
        text = RING.format(k=count, chips="\n".join(chips))
        assert explore(compose(device_from(text))).state_count == states
