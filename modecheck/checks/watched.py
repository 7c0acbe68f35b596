"""Requirements about runs: an order of events, what eventually follows, what arrives once.

Each is checked by an observer composed with the product. Those that only wait share an exploration,
unless it turns out much larger than the product; those that follow an item have one each.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from modecheck.checks.exactly_once import what_went_wrong
from modecheck.checks.judged import HOLDS, VACUOUS, Cost, Judged, broken, undecided, up_to_failures
from modecheck.checks.together import explored_together, first_tries
from modecheck.engine.choice import EngineUnavailable, Search
from modecheck.engine.contract.observer_answer import ObserverVerdict, waiting_loops
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import (
    INTERRUPTION,
    LoopAnswer,
    NotSearched,
    ReachGoal,
    Space,
    first_zero,
)
from modecheck.engine.observer_product import ObserverProducts
from modecheck.engine.search.exploration import Reporter
from modecheck.model.parts import Requirement
from modecheck.product.composition import compose
from modecheck.product.ir import EventIR, Product
from modecheck.product.observers import automaton_for, events_asked, room_for
from modecheck.product.state_conditions import is_watched
from modecheck.scenario.traces import Trace, lasso, trace_to, without_observers

MOST_SHARED = 1_000_000
"""States in files up to which requirements share an exploration."""


def events_of(product: Product) -> tuple[EventIR, ...]:
    """Events that the observers need and that steps of the product do not report otherwise."""
    needs = product.device.requirements.values()
    return events_asked(product, (need for need in needs if is_watched(need)))


def needs_of(product: Product) -> tuple[list[Requirement], list[Requirement]]:
    """The requirements that need an observer: those that wait for something, those that follow an
    item.
    """
    return _parted(need for need in product.device.requirements.values() if is_watched(need))


def _parted(needs: Iterable[Requirement]) -> tuple[list[Requirement], list[Requirement]]:
    waiting: list[Requirement] = []
    following: list[Requirement] = []
    for need in needs:
        (waiting if need.exchange is None else following).append(need)
    return waiting, following


def judge(
    space: Space,
    needs: Sequence[Requirement],
    search: Search,
    reporter: Reporter | None,
    *,
    apart: bool = False,
) -> Iterator[Judged]:
    """The verdict on each of these requirements, which need an observer. With `apart`, each has an
    exploration of its own, which takes the least room, and one that cannot be explored leaves its
    requirement undecided.
    """
    search = replace(search, expected=space.state_count)

    def product_with(names: tuple[str, ...]) -> Product:
        return compose(
            space.product.device, observers=names, time_acceleration=search.time_acceleration
        )

    with ObserverProducts(space, product_with, reporter) as beside:
        yield from _Observing(space, search, beside, apart=apart).judged(needs)


def judge_apart(
    space: Space, needs: Sequence[Requirement], search: Search, reporter: Reporter | None
) -> Iterator[Judged]:
    """The same where transitions are not kept in memory: a GPU explores each product as well, one
    at a time, as far as there is room beside the space; or files of the same folder hold it, and
    many share one if it is small.
    """
    if search.store is None:
        on_gpu = replace(search, engine="gpu", sweeps=True)
        return judge(space, needs, on_gpu, reporter, apart=True)
    return judge(space, needs, search, reporter, apart=space.state_count > MOST_SHARED)


def judged_in(product: Product, watched: Space, need: Requirement) -> Judged:
    """The verdict on a requirement in a space in which its observer takes part; `product` is the
    one without observers, of which scenarios are told.
    """
    return _Judging(product, watched, need).judged()


class _InterruptedError(Exception):
    """Somebody wants no more to be explored."""


class _Observing:
    """Requirements over one space, and what each has cost so far. After an interruption all that
    are left are undecided.
    """

    def __init__(
        self, space: Space, search: Search, beside: ObserverProducts, *, apart: bool
    ) -> None:
        self._space, self._search, self._beside, self._apart = space, search, beside, apart
        self._costs: dict[str, Cost] = {}
        self._interrupted = space.stopped_by == INTERRUPTION

    def judged(self, needs: Sequence[Requirement]) -> Iterator[Judged]:
        """The verdicts: first on those that share an exploration."""
        left = {need.name: need for need in needs}
        try:
            for one in self._in_turn(needs):
                del left[one.need.name]
                yield one
        except _InterruptedError:
            why = f"its exploration was stopped by {INTERRUPTION}"
            yield from (undecided(need, why) for need in left.values())

    def _in_turn(self, needs: Sequence[Requirement]) -> Iterator[Judged]:
        (waiting, following), states = _parted(needs), self._space.state_count
        if self._apart:
            waiting, following = [], [*waiting, *following]
        shared = (one for one in first_tries(waiting, states, self._search) if len(one[0]) > 1)
        self._beside.begin([(tuple(need.name for need in some), how) for some, how in shared])
        for need, watched in explored_together(waiting, states, self._search, self._explored):
            if watched is None:
                yield self._alone(need)
            else:
                yield self._with_shortest_loop(watched, self._judged_in(watched, need))
        for need in following:
            yield self._alone(need)

    def _alone(self, need: Requirement) -> Judged:
        """Without exploring, if it is not broken and that can be told."""
        found = self._decided(need)
        if found is not None:
            return found
        try:
            watched = self._explored([need], self._search)
        except EngineUnavailable as error:
            if not self._apart:
                raise
            return undecided(need, f"its observer cannot be explored: {error.reason}")
        return self._judged_in(watched, need)

    def _with_shortest_loop(self, watched: Space, judged: Judged) -> Judged:
        """What breaks a requirement in a loop is looked for again without the other observers: they
        go on as well, and so the loop begins later, and may have to be longer.
        """
        need, found = judged.need, judged.finding
        trace = None if found is None else found.trace
        together = len(watched.product.observers) > 1 and not self._interrupted
        if not together or trace is None or not trace.loop_from:
            return judged
        alone = self._judged_in(self._explored([need], self._search), need)
        return judged if alone.finding is None else alone

    def _decided(self, need: Requirement) -> Judged | None:
        if self._interrupted:
            raise _InterruptedError
        began, automaton = time.monotonic(), automaton_for(self._space.product.device, need)
        with phase(_with_observers((need.name,))):
            found = self._beside.verdict(need.name, automaton, self._search)
        if found is None:
            return None
        self._interrupted = found.stopped_by == INTERRUPTION
        self._spend([need.name], found.states, began)
        judged = None if found.broken else _unbroken(self._space, need, found)
        return judged and replace(judged, cost=self._costs[need.name])

    def _explored(self, some: Sequence[Requirement], how: Search) -> Space:
        if self._interrupted:
            raise _InterruptedError
        names, began = tuple(need.name for need in some), time.monotonic()
        with phase(_with_observers(names)):
            found = self._beside.explore(names, how)
        self._interrupted = found.stopped_by == INTERRUPTION
        self._spend(names, found.state_count, began)
        return found

    def _judged_in(self, watched: Space, need: Requirement) -> Judged:
        began = time.monotonic()
        with phase(f"requirement {need.name}"):
            judged = judged_in(self._space.product, watched, need)
        cost = self._costs[need.name]
        return replace(judged, cost=replace(cost, seconds=cost.seconds + time.monotonic() - began))

    def _spend(self, names: Sequence[str], states: int, began: float) -> None:
        seconds = time.monotonic() - began
        for name in names:
            before = self._costs[name].seconds if name in self._costs else 0.0
            self._costs[name] = Cost(states, before + seconds, len(names))


def _with_observers(names: Sequence[str]) -> str:
    """What is explored, in words; of many requirements the first stands for all."""
    if len(names) == 1:
        return f"requirement {names[0]} with its observer"
    return f"{len(names)} requirements starting with {names[0]}, with their observers"


class _Judging:
    """One requirement, and the exploration in which its observer took part."""

    def __init__(self, product: Product, watched: Space, need: Requirement) -> None:
        self._product = product
        self._watched = watched
        self._need = need
        self._automaton = automaton_for(watched.product.device, need)
        names = [observer.name for observer in watched.product.observers]
        self._number = names.index(need.name)
        self._given_up = ""

    def judged(self) -> Judged:
        need, watched = self._need, self._watched
        answers = self._staying_alive()
        traces = self._traces_to_break(answers)
        if traces:
            # What never arrives also breaks the order of what comes later: show the shorter one.
            trace, reason = min(traces, key=lambda found: len(found[0].moves))
            return broken_run(self._product, need, trace, reason)
        if self._given_up:
            return undecided(need, self._given_up)
        return _unbroken(watched, need, self._found(answers))

    def _found(self, answers: Sequence[LoopAnswer]) -> ObserverVerdict:
        """What the observer finds of a requirement that is not broken."""
        watched = self._watched
        return ObserverVerdict(
            states=watched.state_count,
            broken=False,
            lost_count=self._lost_count(),
            ends_failing=watched.complete and self._ends_failing(),
            tested=self._tested(),
            rests_on=frozenset().union(*(answer.rests_on for answer in answers)),
            stopped_by=watched.stopped_by,
        )

    def _mark(self, condition: str) -> int:
        known = condition in self._watched.product.conditions
        return self._watched.mark(condition) if known else 0

    def _traces_to_break(self, answers: Sequence[LoopAnswer]) -> list[tuple[Trace, str]]:
        """The shortest trace into a bad state, with the reason, and the traces of fair loops."""
        loops = [answer.loop for answer in answers if answer.loop is not None]
        watched = self._watched
        lassos = [lasso(watched, loop) for loop in loops]
        found = [(without_observers(self._product, trace), "") for trace in lassos]
        return [*self._bad(), *found]

    def _bad(self) -> Iterator[tuple[Trace, str]]:
        """The shortest scenario into a bad state."""
        found = []
        for reason in dict.fromkeys(self._automaton.bad.values()):
            mark = self._mark(f"bad:{self._need.name}:{reason}")
            number = next(self._watched.numbered(mark), None)
            if number is not None:
                found.append((self._watched.depth_of(number), number, reason))
        if found:
            _, number, reason = min(found)
            trace = trace_to(self._watched, number)
            yield without_observers(self._product, trace), reason

    def _staying_alive(self) -> list[LoopAnswer]:
        """Whether it stays alive where nothing happens any more, and where something does."""
        alive, again = (self._mark(f"{what}:{self._need.name}") for what in ("alive", "again"))
        if not alive:
            return []
        answers = []
        for query in waiting_loops(alive, again, self._mark("idles")):
            try:
                answers.append(self._watched.fair_loop(query))
            except NotSearched as error:
                self._given_up = error.why
        return answers

    def _ends_failing(self) -> bool:
        """Whether it stays alive on every run from some state: since no fair run goes on forever
        that way, they all end in failing steps, and what would have followed is unknown.
        """
        what = self._mark(f"again:{self._need.name}") or self._mark(f"alive:{self._need.name}")
        if not what or not self._watched.failures:
            return False
        goal = ReachGoal(0, lacking=what, past_failures=False)
        return first_zero(self._watched.can_reach(goal)) is not None

    def _lost_count(self) -> bool:
        unsure = self._mark(f"unsure:{self._need.name}")
        return bool(unsure) and next(self._watched.numbered(unsure), None) is not None

    def _tested(self) -> bool:
        """Whether the requirement was put to the test anywhere."""
        observer = self._watched.product.observers[self._number]
        looked_up = observer.firsts | {
            place for number, place in self._watched.observed.watched if number == self._number
        }
        return bool(looked_up & self._automaton.triggers)


def _unbroken(space: Space, need: Requirement, found: ObserverVerdict) -> Judged:
    """The verdict on a requirement of which no observer has found that it is broken."""
    if why := undecided_by(space, need, found):
        return undecided(need, why)
    names = tuple(space.product.fair[one].name for one in sorted(found.rests_on))
    verdict = HOLDS if found.tested else VACUOUS
    return Judged(need, verdict, rests_on=names, remark=up_to_failures(space))


def undecided_by(space: Space, need: Requirement, found: ObserverVerdict) -> str:
    """Why what an observer found decides nothing, or nothing if it does."""
    if found.stopped_by:
        return f"its exploration was stopped by {found.stopped_by}"
    if found.lost_count:
        assert need.exchange is not None
        most = room_for(space.product.device, need.exchange)
        return (
            f"more than {most} are in flight, or lost on the way: "
            "give the most that may be, with 'under_way'"
        )
    return "some runs can only end in a failing step" if found.ends_failing else ""


def broken_run(product: Product, need: Requirement, trace: Trace, reason: str) -> Judged:
    """A trace breaks a requirement; `reason` is that of the bad state, if it ends in one."""
    return broken(need, _text(product, need, trace, reason), trace)


def _text(product: Product, need: Requirement, trace: Trace, reason: str) -> str:
    if need.exchange is not None:
        return what_went_wrong(product, need, trace, reason)
    text, other = need.text, need.response_text
    said = {
        "never": f"{text} becomes true",
        "always": f"{text} does not hold",
        "eventually": f"{text} does not become true",
        "whenever": f"{text}, and {other} does not follow",
        "before": f"{text} occurs, and {other} has not occurred before",
    }[need.pattern]
    return f"{said} ({need.span.text})" if need.span.text else said
