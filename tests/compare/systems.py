"""Small systems for tests: random ones, and processes written as trees."""

from __future__ import annotations

from hypothesis import strategies as st

from modecheck.compare.labelled import LabelledSystem, labelled

Triples = list[tuple[int, str, int]]


@st.composite
def random_triples(draw: st.DrawFn, most: int = 7) -> tuple[int, Triples]:
    """Up to `most` states; half of the steps are silent."""
    count = draw(st.integers(1, most))
    state = st.integers(0, count - 1)
    step = st.tuples(state, st.sampled_from(["", "", "a", "b"]), state)
    return count, draw(st.lists(step, max_size=2 * count + 2))


Tree = list[tuple[str, "Tree"]]
"""A process that can do these steps, each with what comes behind it."""


def process(tree: Tree) -> LabelledSystem:
    """The system of a process; `""` is the silent step."""
    triples: Triples = []
    fresh = [0]

    def add(own: int, steps: Tree) -> None:
        for name, behind in steps:
            fresh[0] += 1
            triples.append((own, name, fresh[0]))
            add(fresh[0], behind)

    add(0, tree)
    return labelled(fresh[0] + 1, triples)
