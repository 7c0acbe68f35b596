"""Signals that lead to each other: allowed as long as none can lead to itself."""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

from modecheck.model.errors import InvalidInput
from tests.model.folder import Folder

SIGNALS = "abcdef"
EDGES = st.sets(st.tuples(st.sampled_from(SIGNALS), st.sampled_from(SIGNALS)), max_size=9)


def text_of(edges: set[tuple[str, str]]) -> str:
    """A device in which a rule gives the second signal of each pair when it hears the first."""
    rules = "".join(f"      - {{on: {one}, signal: {two}}}\n" for one, two in sorted(edges))
    start = "".join(f"      - {{signal: {signal}}}\n" for signal in SIGNALS)
    return f"device: d\nchips:\n  hub:\n    states: [s]\n    rules:\n{rules}{start}"


@given(edges=EDGES)
def test_a_cycle_is_found_where_there_is_one(folder: Folder, edges: set[tuple[str, str]]) -> None:
    """Networkx is the second opinion: the graph of signals is refused exactly if it has a cycle."""
    graph = nx.DiGraph(edges)
    try:
        folder.device(text_of(edges))
    except InvalidInput as invalid:
        (error,) = invalid.errors
        cycle = error.message.removeprefix("signals trigger each other forever: ").split(" → ")
        assert cycle[0] == cycle[-1]
        assert set(pairwise(cycle)) <= edges
    else:
        assert nx.is_directed_acyclic_graph(graph)


def test_a_signal_that_leads_to_itself_is_a_cycle(folder: Folder) -> None:
    """Told at a rule of the cycle."""
    told = folder.error(text_of({("a", "a")}))
    assert told.startswith("device.yaml:6:9: signals trigger each other forever: a → a")


def test_a_cycle_may_go_through_several_chips(folder: Folder) -> None:
    """The graph is that of the whole device."""
    text = """\
        device: d
        chips:
          hub: {states: [s], rules: [{signal: ping}, {'on': pong, signal: ping}]}
          tile: {states: [s], rules: [{'on': ping, signal: pong}]}
        """
    assert "forever: pong → ping → pong" in folder.error(text)


def test_very_long_chains_are_followed(folder: Folder) -> None:
    """No recursion: a thousand signals in a row are no cycle, and one more edge makes one."""
    steps = [(f"s{number}", f"s{number + 1}") for number in range(1000)]
    rules = "".join(f"      - {{on: {one}, signal: {two}}}\n" for one, two in steps)
    text = (
        f"device: d\nchips:\n  hub:\n    states: [s]\n    rules:\n{rules}      - {{signal: s0}}\n"
    )
    folder.device(text)
    assert "forever" in folder.error(f"{text}      - {{on: s1000, signal: s500}}\n")
