"""Small systems for tests: random ones, processes written as trees, looks at explored spaces."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from hypothesis import strategies as st

from modecheck.compare.labelled import SILENT_NAME, LabelledSystem
from modecheck.compare.observation import ObservedSpace
from modecheck.compare.visible import Visible
from modecheck.engine.contract.space import Space
from modecheck.product.ir import Product

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


def labelled_from(space: Space, visible: Visible, mode: str | None = None) -> LabelledSystem:
    """What is visible of a space whose product is `reporting` it. Raises `NotExplored`."""
    return ObservedSpace(space, visible).told.looked_at(visible, mode)


def labelled(
    count: int, triples: Iterable[tuple[int, str, int]], *, initial: int = 0
) -> LabelledSystem:
    """The system of some transitions: source, name (empty for the silent step), target."""
    known = list(triples)
    names = (SILENT_NAME, *sorted({name for _, name, _ in known} - {SILENT_NAME}))
    numbers = {name: number for number, name in enumerate(names)}
    rows = [(source, numbers[name], target) for source, name, target in known]
    columns = np.array(rows, np.int32).reshape(-1, 3).T
    sources, labels, targets = (np.ascontiguousarray(column) for column in columns)
    return LabelledSystem(count, initial, sources, labels, targets, names)


def messages_over(product: Product, media: Iterable[str]) -> Visible:
    """All messages of the links of some media."""
    links, chosen = product.device.links, frozenset(media)
    return Visible(
        frozenset(
            (number, code)
            for number, queue in enumerate(product.queues)
            if links[queue.name].medium in chosen
            for code in range(1, len(queue.messages) + 1)
        )
    )


def signals_named(product: Product, names: Iterable[str]) -> Visible:
    """Some signals by name; names that the product does not have are left out."""
    known = set(names)
    return Visible(
        signals=frozenset(n for n, signal in enumerate(product.signals) if signal in known)
    )


def rules_of(product: Product, chips: Iterable[str]) -> Visible:
    """All rules of some chips."""
    known = set(chips)
    return Visible(rules=frozenset(n for n, rule in enumerate(product.rules) if rule.chip in known))
