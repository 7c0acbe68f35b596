"""networkx as a second opinion on explored graphs, and on graphs written down here once more.

The successors below share no code with the tool: they are taken from the papers, so that a model, a
rule of the language and an engine that were wrong together would still be found out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import networkx
import pytest

from modecheck.engine.contract.space import INITIAL
from modecheck.engine.search.exploration import PlainExploration

Explored = Callable[[str], PlainExploration]
Node = tuple[int, ...]
THINKS, HOLDS_LEFT, EATS = 0, 1, 2


def graph_of(exploration: PlainExploration) -> networkx.MultiDiGraph[int]:
    """The explored transitions, each as an edge."""
    graph: networkx.MultiDiGraph[int] = networkx.MultiDiGraph()
    graph.add_nodes_from(range(exploration.state_count))
    for source in range(exploration.expanded):
        for edge in exploration.edges_from(source):
            graph.add_edge(source, edge.target)
    return graph


def ring_successors(state: Node) -> Iterator[Node]:
    """Dijkstra 1974, K-state machines: what each privileged machine does."""
    for i, x in enumerate(state):
        if i == 0 and x == state[-1]:
            yield ((x + 1) % len(state), *state[1:])
        if i > 0 and x != state[i - 1]:
            yield (*state[:i], state[i - 1], *state[i + 1 :])


def philosopher_successors(state: Node) -> Iterator[Node]:
    """Left fork, right fork, both back: what each philosopher at the table can do."""
    for i, does in enumerate(state):
        left, right = state[i - 1], state[(i + 1) % len(state)]
        if does == THINKS and left != EATS:
            yield (*state[:i], HOLDS_LEFT, *state[i + 1 :])
        if does == HOLDS_LEFT and right == THINKS:
            yield (*state[:i], EATS, *state[i + 1 :])
        if does == EATS:
            yield (*state[:i], THINKS, *state[i + 1 :])


def written_anew(
    start: Node, successors: Callable[[Node], Iterator[Node]]
) -> networkx.MultiDiGraph[Node]:
    """The graph of a successor function, built depth first."""
    graph: networkx.MultiDiGraph[Node] = networkx.MultiDiGraph()
    graph.add_node(start)
    pending = [start]
    while pending:
        source = pending.pop()
        for target in successors(source):
            if target not in graph:
                pending.append(target)
            graph.add_edge(source, target)
    return graph


WRITTEN_ANEW = [
    *((f"token_ring_{n}", tuple(range(n + 1)), ring_successors) for n in range(2, 8)),
    *((f"philosophers_{n}", (THINKS,) * n, philosopher_successors) for n in range(2, 9)),
]


@pytest.mark.parametrize(
    ("model", "start", "successors"), WRITTEN_ANEW, ids=[row[0] for row in WRITTEN_ANEW]
)
def test_explored_graph_is_the_one_written_anew(
    explored: Explored, model: str, start: Node, successors: Callable[[Node], Iterator[Node]]
) -> None:
    """As many states, edges and states at each distance, and components of the same sizes."""
    exploration = explored(model)
    mine, other = graph_of(exploration), written_anew(start, successors)
    assert exploration.state_count == other.number_of_nodes()
    assert exploration.transitions == other.number_of_edges()
    distances = Counter(networkx.single_source_shortest_path_length(other, start).values())
    assert exploration.layers == [distances[depth] for depth in range(len(distances))]
    assert component_sizes(mine) == component_sizes(other)


def component_sizes(graph: networkx.MultiDiGraph[int] | networkx.MultiDiGraph[Node]) -> list[int]:
    """How large the strongly connected components are, the smallest first."""
    return sorted(len(component) for component in networkx.strongly_connected_components(graph))


EXPLORED = ["alternating_bit_2", "dekker", "peterson_swapped", "token_ring_6", "usb_device_states"]


@pytest.mark.parametrize("model", EXPLORED)
def test_depths_are_shortest_distances(explored: Explored, model: str) -> None:
    """The depth of every state is its distance in networkx, and every state is reached."""
    exploration = explored(model)
    distances = networkx.single_source_shortest_path_length(graph_of(exploration), INITIAL)
    depths = {number: exploration.depth_of(number) for number in range(exploration.state_count)}
    assert depths == dict(distances)


@pytest.mark.parametrize("model", EXPLORED)
def test_goals_are_reached_from_their_ancestors(explored: Explored, model: str) -> None:
    """A path leads to a goal exactly from the goal's ancestors in networkx and itself."""
    exploration = explored(model)
    graph = graph_of(exploration)
    for goal in {INITIAL, exploration.state_count // 2, exploration.state_count - 1}:
        leading = exploration.can_reach_states([goal])
        reached = {number for number, leads in enumerate(leading) if leads}
        assert reached == networkx.ancestors(graph, goal) | {goal}


def test_components_of_the_textbook_graph(explored: Explored) -> None:
    """Cormen et al. (MC): {a, b, e}, {c, d}, {f, g}, {h}, by the tool's paths and by networkx."""
    exploration = explored("components")
    (form,) = exploration.product.chips
    names = [form.leaves[exploration.state(number)[form.state_field]] for number in range(8)]
    leading = [exploration.can_reach_states([goal]) for goal in range(8)]
    mutual = {
        frozenset(names[b] for b in range(8) if leading[a][b] and leading[b][a]) for a in range(8)
    }
    assert {"".join(sorted(component)) for component in mutual} == {"abe", "cd", "fg", "h"}
    components = networkx.strongly_connected_components(graph_of(exploration))
    assert mutual == {frozenset(names[number] for number in component) for component in components}
