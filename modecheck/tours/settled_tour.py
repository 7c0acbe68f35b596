"""A shortest bench test that takes every action of a person in every settled state.

The graph has the settled states as nodes. An arc is something that a person can do there, with the
settled state that it usually leads to (see `settling`). The walk over all arcs is a directed
postman tour: among all that begin at power-on, it has the fewest new starts, and then the fewest
steps. This is optimal for the graph of usual outcomes; where a race may end elsewhere, the step
says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from modecheck.engine.contract.space import Limits
from modecheck.engine.reference.plain import State, Step
from modecheck.model.wording import counted
from modecheck.product.ir import Product
from modecheck.tours.plan import BenchStep, BenchTest, StepSequence
from modecheck.tours.postman import Arc, Tour, postman_tour
from modecheck.tours.settling import SettledOutcome, Settling, SettlingLimit
from modecheck.tours.sittings import cut_into_sittings
from modecheck.tours.tour_words import Teller


@dataclass(frozen=True, slots=True)
class UserAction:
    """Something that a person does in a settled state (numbers), and how the device settles."""

    source: int
    step: Step
    settled: SettledOutcome
    target: int


@dataclass(slots=True)
class BenchGraph:
    """Settled states that usual outcomes lead to, from 0, in which the device settles after
    power-on.

    `failing` are actions that are errors of the model itself, and `restless` those after which the
    device never settles. `raced` are settled states that only races lead to; they are not explored
    further.
    """

    start: SettledOutcome
    states: list[State] = field(default_factory=list)
    actions: list[UserAction] = field(default_factory=list)
    failing: list[Step] = field(default_factory=list)
    restless: list[Step] = field(default_factory=list)
    raced: set[State] = field(default_factory=set)
    stopped_by: str = ""


def bench_graph(settling: Settling) -> BenchGraph:
    """Everything that a person can do who always waits until the device has settled. If a bound is
    hit (`stopped_by`), it holds what was found so far.
    """
    try:
        graph = BenchGraph(settling.settle(settling.product.initial))
    except SettlingLimit as reached:
        return BenchGraph(SettledOutcome(None, (), (), ()), stopped_by=str(reached))
    if graph.start.usual is None:
        return graph
    graph.states.append(graph.start.usual)
    numbers = {graph.start.usual: 0}
    others = set(graph.start.others)
    try:
        for source, state in enumerate(graph.states):  # grows while it is gone through
            for step in settling.actions(state):
                _act(graph, settling, numbers, others, source, step)
    except SettlingLimit as reached:
        graph.stopped_by = str(reached)
    graph.raced = others - set(numbers)
    return graph


def _act(
    graph: BenchGraph,
    settling: Settling,
    numbers: dict[State, int],
    others: set[State],
    source: int,
    step: Step,
) -> None:
    if step.after is None:
        graph.failing.append(step)
        return
    settled = settling.settle(step.after)
    if settled.usual is None:
        graph.restless.append(step)
        return
    if settled.usual not in numbers:
        numbers[settled.usual] = len(graph.states)
        graph.states.append(settled.usual)
    others.update(settled.others)
    graph.actions.append(UserAction(source, step, settled, numbers[settled.usual]))


def bench_test(
    product: Product,
    *,
    limits: Limits | None = None,
    patience: Fraction | None = None,
    closed: bool = False,
    sitting: int | None = None,
) -> BenchTest:
    """The shortest test that takes every action; closed, it ends in the state in which it began.
    With `sitting`, a longer test that is not closed is cut into sequences of about that many steps.
    """
    settling = Settling(product, limits or Limits(), patience)
    graph = bench_graph(settling)
    arcs = [Arc(action.source, action.target) for action in graph.actions]
    tour = postman_tour(max(len(graph.states), 1), arcs, 0, closed=closed)
    told = TellActions(settling, graph)
    walks, cost = tour.walks, tour.cost + tour.resets
    if sitting is not None and not closed:
        walks = cut_into_sittings(tour.walks, arcs, 0, sitting)
    was_cut = walks != tour.walks
    if was_cut:
        cost = sum(map(len, walks)) + len(walks) - 1
    return BenchTest(
        product=product,
        goal="actions",
        facts=_facts(graph, settling),
        sequences=told.sequences(walks) if graph.states else (),
        cost=cost,
        bound=tour.cost + tour.resets,
        shortest=not graph.stopped_by and not was_cut,
        left_out=tuple(_left_out(graph, told, tour)),
        stopped_by=graph.stopped_by,
        sitting=sitting if was_cut else None,
    )


def _facts(graph: BenchGraph, settling: Settling) -> tuple[str, ...]:
    races = sum(bool(action.settled.others) for action in graph.actions)
    facts = [
        f"{counted(len(graph.states), 'settled state')}, {counted(len(graph.actions), 'action')}, "
        f"found by exploring {counted(settling.looked_at, 'state')}"
    ]
    if races:
        first = "if something else happens first"
        facts.append(f"{counted(races, 'action')} may also lead elsewhere, {first}")
    if settling.patient:
        facts.append(
            "timers longer than the patience are assumed to end only when a step waits for them, "
            "or when nothing settles without them"
        )
    return tuple(facts)


def _left_out(graph: BenchGraph, told: TellActions, tour: Tour) -> Iterable[str]:
    if not graph.states and not graph.stopped_by:
        yield "everything: the device never settles after power-on"
    yield from (
        f"{text}: an error of the model itself, {why}" for text, why in _counted(told.failing())
    )
    yield from (
        f"{text}: the device never settles after this, {why}"
        for text, why in _counted(told.deed(step) for step in graph.restless)
    )
    if graph.raced:
        states = counted(len(graph.raced), "settled state")
        yield f"actions in {states} that only races lead to"
    if tour.returns:
        yield "the return to the first state: there is none without a new start"


def _counted(texts: Iterable[str]) -> list[tuple[str, str]]:
    """Each text once, with the number of settled states in which it holds."""
    counts: dict[str, int] = {}
    for text in texts:
        counts[text] = counts.get(text, 0) + 1
    return [(text, f"in {counted(number, 'settled state')}") for text, number in counts.items()]


class TellActions:
    """Turns walks into steps for people."""

    def __init__(self, settling: Settling, graph: BenchGraph) -> None:
        self._settling = settling
        self._graph = graph
        self._teller = Teller(settling)

    def deed(self, step: Step) -> str:
        return self._teller.deed(step)[0]

    def failing(self) -> list[str]:
        """What a person does and what then fails."""
        return [
            f"{self.deed(step)} ({step.wrong})" if step.failures else self.deed(step)
            for step in self._graph.failing
        ]

    def sequences(self, walks: Iterable[Iterable[int]]) -> tuple[StepSequence, ...]:
        """Walks as sequences, with their steps numbered consecutively."""
        sequences: list[StepSequence] = []
        first = 0
        for walk in walks:
            sequences.append(self._sequence(walk, first))
            first += len(sequences[-1].steps)
        return tuple(sequences)

    def _sequence(self, walk: Iterable[int], first: int) -> StepSequence:
        steps = [self._with_way_on(self._start(), self._graph.start, {})]
        settled_at: dict[State | None, int] = {self._graph.start.usual: first}
        for number, action in enumerate((self._graph.actions[n] for n in walk), start=first + 1):
            step = self._step(action)
            steps.append(self._with_way_on(step, action.settled, settled_at))
            settled_at[action.settled.usual] = number
        return StepSequence(tuple(steps), first)

    def _with_way_on(
        self, step: BenchStep, settled: SettledOutcome, settled_at: dict[State | None, int]
    ) -> BenchStep:
        """The step with the other states that it may lead to, each with where to continue then:
        after the last earlier step that settled there. If several of these states look the same but
        belong after different steps, a person cannot tell them apart, and has to start over.
        """
        assert settled.usual is not None
        places: dict[str, set[int | None]] = {}
        for other in settled.others:
            told = self._teller.other(settled.usual, other)
            places.setdefault(told, set()).add(settled_at.get(other))
        go_on = (found.pop() if len(found) == 1 else None for found in places.values())
        return replace(step, may_also=tuple(places), go_on=tuple(go_on))

    def _start(self) -> BenchStep:
        settled = self._graph.start
        assert settled.usual is not None
        step = self._teller.step("start", None, settled.run, settled.usual)
        return replace(step, may_fail=settled.failures)

    def _step(self, action: UserAction) -> BenchStep:
        settled, teller = action.settled, self._teller
        assert settled.usual is not None
        wait = self._settling.is_wait(action.step.label)
        before, run = self._graph.states[action.source], (action.step, *settled.run)
        step = teller.step("wait" if wait else "act", before, run, settled.usual)
        does = f"wait {' '.join(teller.waits([action.step]))}: {step.do}" if wait else step.do
        waits = teller.waits(settled.run)
        return replace(step, do=does, waits=waits, may_fail=settled.failures)
