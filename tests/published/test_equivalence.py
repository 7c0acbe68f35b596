"""Published pairs of processes, automata, buffers and a protocol: equivalent or not.

The marks (PC, MC, C) are explained in conftest.py.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.compare.difference import How, difference, run_of
from modecheck.compare.labelled import LabelledSystem
from modecheck.compare.refinement import Equivalence, classes_of, equivalent
from modecheck.compare.silent_cycles import with_divergence
from modecheck.compare.visible import reporting
from modecheck.engine.search.exploration import explore
from modecheck.model.devices import read_device
from modecheck.product.composition import compose
from tests.compare.systems import Tree, labelled, labelled_from, process, rules_of, signals_named

PUBLISHED = Path(__file__).parents[2] / "models" / "published"

a, b, c = "a", "b", "c"
END: Tree = []
A_B_PLUS_C: Tree = [(a, [(b, END), (c, END)])]
B_OR_SILENT_C: Tree = [(b, END), ("", [(c, END)])]

PAIRS: dict[str, tuple[Tree, Tree, str]] = {
    "a.(b+c) v a.b+a.c": (A_B_PLUS_C, [(a, [(b, END)]), (a, [(c, END)])], "no/no/no/no"),
    "a.τ.b v a.b": ([(a, [("", [(b, END)])])], [(a, [(b, END)])], "no/yes/yes/yes"),
    "τ.a+b v a+b": ([("", [(a, END)]), (b, END)], [(a, END), (b, END)], "no/no/no/no"),
    "a.(b+τ.c)+a.c v a.(b+τ.c)": (
        [(a, B_OR_SILENT_C), (a, [(c, END)])],
        [(a, B_OR_SILENT_C)],
        "no/no/no/yes",
    ),
    "a.(τ.(b+c)+b) v a.(b+c)": (
        [(a, [("", [(b, END), (c, END)]), (b, END)])],
        A_B_PLUS_C,
        "no/yes/yes/yes",
    ),
}
"""Unrooted; Milner 1989, van Glabbeek & Weijland (MC): strong / branching, with
explicit divergence and without (no process here can go on forever) / weak."""


@pytest.mark.parametrize("pair", PAIRS)
def test_pairs_of_processes_are_equivalent_as_published(pair: str) -> None:
    """Each of the five pairs tells two of the equivalences apart, or all from a plain order."""
    one, other, expected = PAIRS[pair]
    answers = [equivalent(process(one), process(other), kind) for kind in Equivalence]
    assert "/".join("yes" if answer else "no" for answer in answers) == expected


def test_an_early_choice_is_told_where_the_sequences_are_the_same() -> None:
    """Of a.(b+c) and a.b+a.c (Milner 1989, MC): after a, the second may be able to do b only."""
    one, other, _ = PAIRS["a.(b+c) v a.b+a.c"]
    found = difference(process(one), process(other))
    assert found is not None
    assert (found.how, found.after, found.offers, found.by_first) == (How.CHOICE, (a,), (b,), False)


def test_the_minimal_automaton_has_the_published_classes() -> None:
    """Hopcroft & Ullman 1979 (MC): eight states, five classes; being accepted is seen."""
    table = {"a": "bf", "b": "gc", "c": "ac", "d": "cg", "e": "hf", "f": "cg", "g": "ge", "h": "gc"}
    states = "".join(table)
    triples = [
        (states.index(state), str(letter), states.index(target))
        for state, targets in table.items()
        for letter, target in enumerate(targets)
    ]
    accepting = states.index("c")
    system = labelled(len(states), [*triples, (accepting, "accepted", accepting)])
    for kind in Equivalence:
        of = classes_of(system, kind).of
        classes = {"".join(s for s, n in zip(states, of, strict=True) if n == k) for k in of}
        assert classes == {"ae", "bh", "df", "c", "g"}


def chain(length: int) -> str:
    """A chain of one-place buffers for two kinds of items, as in models/published/buffers_3."""
    chips = "".join(
        f"  relay_{n}: {{file: {PUBLISHED}/chips/relay.yaml, with: {{next: buffer_{n + 1}}}}}\n"
        for n in range(1, length)
    )
    links = "".join(
        link(n, "source" if n == 1 else f"relay_{n - 1}", "drain" if n == length else f"relay_{n}")
        for n in range(1, length + 1)
    )
    return f"device: chain of {length}\nchips:\n{ENDS}{chips}links:\n{links}"


def fifo(places: int) -> str:
    """A queue of so many places for two kinds of items."""
    return f"device: queue\nchips:\n{ENDS}links:\n{link(1, 'source', 'drain', places)}"


ENDS = """\
  source:
    states: {feeding: {rest: true}}
    rules: {feed_0: {send: item(0)}, feed_1: {send: item(1)}}
  drain:
    states: {taking: {rest: true}}
    rules: {take_0: {on: item, if: value == 0}, take_1: {on: item, if: value == 1}}
"""


def link(number: int, sender: str, receiver: str, capacity: int = 1) -> str:
    return (
        f"  buffer_{number}: {{from: {sender}, to: {receiver}, capacity: {capacity}, "
        "carries: {item: {range: [0, 1]}}, when_full: wait}\n"
    )


def ends_of(text: str, folder: Path) -> LabelledSystem:
    """What source and drain do in a device."""
    path = folder / "device.yaml"
    path.write_text(text, encoding="utf-8")
    product = compose(read_device(str(path)))
    visible = rules_of(product, ["source", "drain"])
    return labelled_from(explore(reporting(product, visible)), visible)


@pytest.mark.parametrize("length", range(2, 7))
def test_a_chain_of_buffers_is_a_queue_of_as_many_places(length: int, tmp_path: Path) -> None:
    """Milner 1989 (MC): branching equivalent to the queue of N places, not to that of N + 1."""
    buffers = ends_of(chain(length), tmp_path)
    assert buffers.count == 3**length
    assert equivalent(buffers, ends_of(fifo(length), tmp_path), Equivalence.BRANCHING)
    assert equivalent(buffers, ends_of(fifo(length), tmp_path), Equivalence.DIVERGENCE)
    assert not equivalent(buffers, ends_of(fifo(length), tmp_path), Equivalence.STRONG)
    longer = ends_of(fifo(length + 1), tmp_path)
    assert not equivalent(buffers, longer, Equivalence.BRANCHING)
    assert not equivalent(buffers, longer, Equivalence.WEAK)
    found = difference(buffers, longer)
    assert found is not None
    assert (found.how, found.by_first) == (How.SEQUENCE, False)
    assert found.events == ("source takes feed_0",) * (length + 1)
    assert run_of(buffers, found.events) is None
    run = run_of(longer, found.events)
    assert run is not None
    assert len(run) == length + 1


def both_ends(name: str, items: int) -> LabelledSystem:
    """What is taken and delivered by a protocol of models/published."""
    product = compose(read_device(str(PUBLISHED / f"{name}.yaml")))
    names = [f"{what}_{item}" for item in range(items) for what in ("taken", "delivered")]
    visible = signals_named(product, names)
    assert len(visible) == 2 * items
    return labelled_from(explore(reporting(product, visible)), visible)


def one_place_buffer(items: int) -> LabelledSystem:
    """Takes an item, then delivers it."""
    taken = [(0, f"signalled taken_{item}", item + 1) for item in range(items)]
    given = [(item + 1, f"signalled delivered_{item}", 0) for item in range(items)]
    return labelled(items + 1, [*taken, *given])


@pytest.mark.parametrize("items", [1, 2, 3])
def test_the_alternating_bit_is_a_one_place_buffer(items: int) -> None:
    """Milner 1989 (MC): branching equivalent, D + 1 classes; strongly it is not."""
    protocol, buffer = both_ends(f"alternating_bit_{items}", items), one_place_buffer(items)
    assert equivalent(protocol, buffer, Equivalence.BRANCHING)
    assert equivalent(protocol, buffer, Equivalence.WEAK)
    assert not equivalent(protocol, buffer, Equivalence.STRONG)
    assert classes_of(protocol, Equivalence.BRANCHING).count == items + 1


@pytest.mark.parametrize("items", [1, 2])
def test_the_alternating_bit_may_lose_and_repeat_forever(items: int) -> None:
    """That it is a buffer takes fair channels (Baeten, Bergstra & Klop 1987, On the consistency of
    Koomen's fair abstraction rule; from memory): with explicit divergence it is none.
    """
    protocol, buffer = both_ends(f"alternating_bit_{items}", items), one_place_buffer(items)
    assert not equivalent(protocol, buffer, Equivalence.DIVERGENCE)
    found = difference(with_divergence(protocol), with_divergence(buffer))
    assert found is not None
    assert (found.how, found.by_first) == (How.DIVERGENCE, True)


def test_a_protocol_that_disregards_the_bit_is_no_buffer() -> None:
    """Broken, D = 2 (C): it delivers wrongly, which a run of 9 steps shows."""
    protocol = both_ends("alternating_bit_broken", 2)
    assert not equivalent(protocol, one_place_buffer(2), Equivalence.WEAK)
    found = difference(protocol, one_place_buffer(2))
    assert found is not None
    assert (found.how, found.by_first) == (How.SEQUENCE, True)
    run = run_of(protocol, found.events)
    assert run is not None
    assert len(run) == 9
    assert run_of(one_place_buffer(2), found.events) is None
