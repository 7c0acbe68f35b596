"""Bench tests that take every rule of some chips that the product can take.

They come in two parts. The first takes the rules that a person can reach who always waits until the
device has settled: walks over the graph of `settled_tour`, in which an arc takes the rules of its
usual run. The remaining rules need timing (a person acts before the device has settled, or events
come in a certain order) or a fault; they are searched for in the whole product, where each atomic
step counts.

Each part is a cover of rules (see `cover`): optimal where it is small, else a heuristic, with a
lower bound that says how far from the shortest it is at most. The two parts together need not be
the shortest: rules that the first part takes are not searched for in the second.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits, Space
from modecheck.engine.reference.happenings import Took
from modecheck.engine.reference.plain import Step
from modecheck.engine.search.exploration import Reporter
from modecheck.model.wording import counted, listed
from modecheck.product.ir import EventIR, Product
from modecheck.tours.class_graph import ClassGraph
from modecheck.tours.cover import Cover, cover
from modecheck.tours.plan import BenchTest
from modecheck.tours.settled_tour import BenchGraph, TellActions, bench_graph
from modecheck.tours.settling import Settling
from modecheck.tours.timed import TellTimed

EVENTS_AT_ONCE = 31
"""The number of events that have a bit in the report of a step of the compiled engine."""
MOST_TRANSITIONS = 5_000_000
"""Searching more of them would take minutes and gigabytes."""


def rule_tests(
    product: Product,
    chips: Sequence[str],
    *,
    search: Search | None = None,
    patience: Fraction | None = None,
    reporter: Reporter | None = None,
) -> list[BenchTest]:
    """One test of settled states, and, if rules remain, one that needs timing or faults."""
    how = search or Search()
    rules = [number for number, rule in enumerate(product.rules) if rule.chip in chips]
    settling = Settling(product, how.limits, patience)
    graph = bench_graph(settling)
    settled, left = _settled_test(settling, graph, rules, chips)
    if not left:
        return [settled]
    timed = _timed_test(product, left, how, reporter)
    return [settled, timed] if settled.sequences else [timed]


def _rules_in(steps: Iterable[Step], classes: dict[int, int]) -> int:
    """The classes (bits) of the rules that some steps take."""
    bits = 0
    for step in steps:
        for happening in step.happenings:
            if isinstance(happening, Took) and happening.rule in classes:
                bits |= 1 << classes[happening.rule]
    return bits


def _settled_test(
    settling: Settling, graph: BenchGraph, rules: Sequence[int], chips: Sequence[str]
) -> tuple[BenchTest, list[int]]:
    """The test of settled states, and the rules that it leaves."""
    classes = {rule: number for number, rule in enumerate(rules)}
    takes = [_rules_in((action.step, *action.settled.run), classes) for action in graph.actions]
    at_start = _rules_in(graph.start.run, classes)
    tails = [action.source for action in graph.actions]
    heads = [action.target for action in graph.actions]
    arcs = ClassGraph(max(len(graph.states), 1), tails, heads, takes, 0)
    found = cover(arcs, [n for n in range(len(rules)) if not at_start >> n & 1])
    tell = TellActions(settling, graph)
    taken = len(rules) - len(found.never)
    test = BenchTest(
        product=settling.product,
        goal="rules",
        facts=(
            f"{taken} of {counted(len(rules), 'rule')} of {listed(list(chips))}, by acting in "
            f"{counted(len(graph.states), 'settled state')}",
        ),
        sequences=tell.sequences(found.walks) if graph.states else (),
        cost=found.cost,
        bound=found.bound,
        shortest=found.optimal and not graph.stopped_by,
        stopped_by=graph.stopped_by,
    )
    return test, [rules[number] for number in found.never]


def _timed_test(
    product: Product, rules: Sequence[int], search: Search, reporter: Reporter | None
) -> BenchTest:
    spaces = list(_explored(product, rules, search, reporter))
    space = spaces[0]
    stopped = next((one.stopped_by for one in spaces if one.stopped_by), "")
    names = [f"{product.rules[rule].chip}.{product.rules[rule].title}" for rule in rules]
    arcs: list[tuple[int, int]] = []
    if space.transitions > MOST_TRANSITIONS:
        stopped = f"the bound of {MOST_TRANSITIONS:,} transitions"
        found = Cover((), 0, 0, optimal=False, never=tuple(range(len(rules))))
    else:
        graph, arcs = _graph_of(spaces)
        found = cover(graph, range(len(rules)))
    never = [names[number] for number in found.never]
    tell = TellTimed(Settling(product, Limits()), space)
    why = "not found before the bound was hit" if stopped else "no run of the product takes"
    return BenchTest(
        product=product,
        goal="timing",
        facts=(
            f"{counted(len(rules) - len(never), 'rule')} more, by acting at the right moment or by "
            f"a fault, in a product of {counted(space.state_count, 'state')}",
        ),
        sequences=tuple(tell.sequence([arcs[n] for n in walk]) for walk in found.walks if walk),
        cost=found.cost,
        bound=found.bound,
        shortest=found.optimal and not stopped,
        left_out=(f"{why}: {', '.join(never)}",) if never else (),
        stopped_by=stopped,
    )


def _explored(
    product: Product, rules: Sequence[int], search: Search, reporter: Reporter | None
) -> Iterator[Space]:
    """The product, explored once for each group of rules: every engine numbers states alike."""
    for start in range(0, len(rules), EVENTS_AT_ONCE):
        group = rules[start : start + EVENTS_AT_ONCE]
        events = tuple(EventIR(taken=frozenset({rule})) for rule in group)
        names = tuple(f"rule {rule}" for rule in group)
        watched = replace(product, conditions={}, events=events, watched_events=names)
        yield explore_with(watched, search, reporter)


def _graph_of(spaces: Sequence[Space]) -> tuple[ClassGraph, list[tuple[int, int]]]:
    """All transitions with the rules that they take; for each its label and the state behind it."""
    tails: list[int] = []
    heads: list[int] = []
    takes: list[int] = []
    arcs: list[tuple[int, int]] = []
    space = spaces[0]
    for number in range(min(one.expanded for one in spaces)):
        several = [one.edges_from(number) for one in spaces]
        for edges in zip(*several, strict=True):
            tails.append(number)
            heads.append(edges[0].target)
            arcs.append((edges[0].label, edges[0].target))
            bits = (edge.events << EVENTS_AT_ONCE * n for n, edge in enumerate(edges))
            takes.append(sum(bits))
    return ClassGraph(space.state_count, tails, heads, takes, 0), arcs
