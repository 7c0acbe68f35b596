"""Explore a device with counted faults once, and ask every slice for what can go wrong there."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from modecheck.checks import watched
from modecheck.checks.together import explored_together
from modecheck.cutsets.breaking import Breakable, CutSetSearch
from modecheck.cutsets.counted_faults import CountedFaults, with_spent
from modecheck.cutsets.slices import Slices, Whole
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.observer_answer import ObserverVerdict
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import Space
from modecheck.engine.observer_product import ObserverProducts
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.search.explored_space import Exploration
from modecheck.engine.search.time_bounds import with_moments
from modecheck.model.parts import Requirement
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.product.observers import automaton_for

Explore = Callable[[Sequence[Requirement], Search], Space]


class FaultCounting:
    """A device explored with counted faults. `slices` are its states by what has struck,
    `breakable` what can break, with its minimal cut sets.
    """

    def __init__(self, counted: CountedFaults, search: Search, reporter: Reporter | None) -> None:
        """Bounds in seconds count from when `search` says, or else for each exploration."""
        self._counted, self._search, self._reporter = counted, search, reporter
        product = self._product_with(())
        asked = watched.events_of(product)
        space = explore_with(product, search, reporter, overhearing=asked)
        assert isinstance(space, Exploration), "faults are not counted among representatives"
        self.space: Whole = space
        self.slices = self._slices(space)
        self.breakable = self._breakable(product)

    def _breakable(self, product: Product) -> tuple[Breakable, ...]:
        found, space = CutSetSearch(self._counted, product, self._search.limits), self.space
        if not space.complete:
            found.remark_all(f"stopped by {space.stopped_by}")
        found.ask_states(self.slices)
        if space.complete:
            self._ask_observers(found, space, product)
        return tuple(found.breakable)

    def _product_with(self, names: tuple[str, ...]) -> Product:
        product = compose(self._counted.device, observers=names)
        if not names and product.time is not None:
            product = with_moments(product)
        return with_spent(product, self._counted.budgets(product), self._counted.most)

    def _slices(self, space: Whole) -> Slices:
        return Slices(space, self._counted.labels(space.product), self._counted.most)

    def _ask_observers(self, found: CutSetSearch, space: Whole, product: Product) -> None:
        """The requirements that an observer follows: first whether they break at all."""
        waiting, following = watched.needs_of(product)
        how = replace(self._search, expected=space.state_count)
        with ObserverProducts(space, self._product_with, self._reporter) as beside:
            needs = [*waiting, *following]
            verdicts = self._verdicts(beside, needs, how)
            left = []
            for need in needs:
                if how.limits.time_is_up:
                    found.leave_open(need, found.too_late)
                    continue
                verdict = verdicts[need.name]
                if verdict is None or verdict.broken:
                    left.append(need)
                elif why := watched.undecided_by(space, need, verdict):
                    found.leave_open(need, why)
            self._ask_products(found, beside, left, how)

    def _verdicts(
        self, beside: ObserverProducts, needs: Sequence[Requirement], how: Search
    ) -> dict[str, ObserverVerdict | None]:
        """What each observer finds over all faults, where that can be told without exploring."""
        device = self._counted.device

        def verdict(need: Requirement) -> ObserverVerdict | None:
            if how.limits.time_is_up:
                return None
            return beside.verdict(need.name, automaton_for(device, need), how)

        threads = how.threads or os.cpu_count() or 1
        with phase("following requirements"), ThreadPoolExecutor(threads) as pool:
            return dict(zip((need.name for need in needs), pool.map(verdict, needs), strict=True))

    def _ask_products(
        self, found: CutSetSearch, beside: ObserverProducts, needs: list[Requirement], how: Search
    ) -> None:
        """Requirements that break, or of which only an exploration can tell."""

        def explored(some: Sequence[Requirement], how: Search) -> Space:
            with phase(f"requirement {some[0].name} with its observer"):
                return beside.explore(tuple(need.name for need in some), how)

        slices = self.slices
        for need, shared in _shared(needs, how, explored):
            space = shared or explored([need], how)
            assert isinstance(space, Exploration)
            if slices.whole is not space:
                slices = self._slices(space)
            if not space.complete:
                found.leave_open(need, f"its exploration was stopped by {space.stopped_by}")
            found.ask_runs(slices, need)


def _shared(
    needs: Sequence[Requirement], how: Search, explored: Explore
) -> Iterator[tuple[Requirement, Space | None]]:
    """Requirements that wait share explorations, those that follow an item do not."""
    waiting = [need for need in needs if need.exchange is None]
    yield from explored_together(waiting, how.expected, how, explored)
    yield from ((need, None) for need in needs if need.exchange is not None)
