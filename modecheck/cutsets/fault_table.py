"""The fault table of a device: what breaks it, and what each single fault does."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from modecheck.checks import watched
from modecheck.checks.together import explored_together
from modecheck.cutsets.breaking import Breakable, CutSetSearch
from modecheck.cutsets.counted_faults import (
    CountedFaults,
    counted_faults,
    labels_of,
    with_spent,
)
from modecheck.cutsets.effects import Effects, EffectSearch, acts_of
from modecheck.cutsets.slices import Slices, Whole
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.observer_answer import ObserverVerdict
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import Space
from modecheck.engine.observer_product import ObserverProducts
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.search.explored_space import Exploration
from modecheck.engine.search.time_bounds import with_moments
from modecheck.model.parts import Device, Requirement
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.product.observers import automaton_for


@dataclass(frozen=True, slots=True)
class People:
    """What actors do: the effects of each single act; and for what breaks without a fault, by its
    id, how often each act is `needed` at least, None for more than `most` times.
    """

    effects: tuple[Effects, ...]
    needed: dict[str, dict[str, int | None]]
    most: int


@dataclass(frozen=True, slots=True)
class FaultTable:
    """What was found of a device, of which faults were counted as `counted` says. `stopped_by` is
    the bound that was hit, or nothing.
    """

    counted: CountedFaults
    states: int
    stopped_by: str
    breakable: tuple[Breakable, ...]
    single: tuple[Effects, ...]
    people: People | None = None

    @property
    def complete(self) -> bool:
        """Whether everything up to the bounds of faults is known."""
        return not self.stopped_by and not any(one.remark for one in self.breakable)


def fault_table(
    device: Device,
    most: int,
    in_all: int,
    search: Search,
    reporter: Reporter | None = None,
    *,
    people: bool = False,
) -> FaultTable:
    """The table with up to `most` of each fault, and up to `in_all` together; with `people` also
    of what actors do.
    """
    return _TableMaking(counted_faults(device, most, in_all), search, reporter).table(people=people)


class _TableMaking:
    def __init__(
        self, counted: CountedFaults, search: Search, reporter: Reporter | None
    ) -> None:
        self._counted, self._reporter = counted, reporter
        self._search = replace(search, limits=search.limits.from_now())

    def table(self, *, people: bool) -> FaultTable:
        product = self._product_with(())
        asked = watched.events_of(product)
        space = explore_with(product, self._search, self._reporter, overhearing=asked)
        assert isinstance(space, Exploration), "faults are not counted among representatives"
        slices = Slices(space, self._counted.most)
        found = CutSetSearch(self._counted, product)
        if not space.complete:
            found.remark_all(f"stopped by {space.stopped_by}")
        found.ask_states(slices)
        if space.complete:
            self._ask_observers(found, space, product)
        single, told = (), None
        if space.complete:
            asked = self._asking(slices)
            single = tuple(self._single(slices, asked))
            told = People(tuple(self._acts(asked)), {}, self._counted.most) if people else None
        return FaultTable(
            self._counted, space.state_count, space.stopped_by, tuple(found.breakable), single, told
        )

    def _asking(self, slices: Slices) -> EffectSearch:
        unharmed = slices.slice(tuple(0 for _ in self._counted.faults), {})
        with phase("what the device keeps when it is left alone"):
            return EffectSearch(unharmed)

    def _single(self, slices: Slices, asked: EffectSearch) -> Iterator[Effects]:
        """The effects of each single fault."""
        faults, product = self._counted.faults, slices.whole.product
        for number, (fault, form) in enumerate(zip(faults, product.faults, strict=True)):
            with phase(f"effects of {fault.name}"):
                one = tuple(int(other == number) for other, _ in enumerate(faults))
                behind = slices.slice(one, {})
                yield asked.effects(fault.name, "", labels_of(form), behind)

    def _acts(self, asked: EffectSearch) -> Iterator[Effects]:
        """The effects of each act of an actor."""
        product = asked.unharmed.product
        for actor, title, phrase, labels in acts_of(self._counted.device, product):
            with phase(f"effects of {actor}.{title}"):
                yield asked.effects(f"{actor}.{title}", phrase, labels, asked.unharmed)

    def _product_with(self, names: tuple[str, ...]) -> Product:
        product = compose(self._counted.device, observers=names)
        if not names and product.time is not None:
            product = with_moments(product)
        return with_spent(product, self._counted.most)

    def _ask_observers(self, found: CutSetSearch, space: Whole, product: Product) -> None:
        """The requirements that an observer follows: first whether they break at all."""
        waiting, following = watched.needs_of(product)
        how = replace(self._search, expected=space.state_count)
        with ObserverProducts(space, self._product_with, self._reporter) as beside:
            needs = [*waiting, *following]
            verdicts = self._verdicts(beside, needs, how)
            left = []
            for need in needs:
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

        def slices_of(space: Space) -> Slices:
            assert isinstance(space, Exploration)
            return Slices(space, self._counted.most)

        last: tuple[Space, Slices] | None = None
        for need, shared in self._shared(needs, how, explored):
            space = shared or explored([need], how)
            if last is None or last[0] is not space:
                last = space, slices_of(space)
            if not space.complete:
                found.leave_open(need, f"its exploration was stopped by {space.stopped_by}")
            found.ask_runs(last[1], need)

    def _shared(
        self, needs: Sequence[Requirement], how: Search, explored: object
    ) -> Iterator[tuple[Requirement, Space | None]]:
        """Requirements that wait share explorations, those that follow an item do not."""
        waiting = [need for need in needs if need.exchange is None]
        yield from explored_together(waiting, how.expected, how, explored)  # type: ignore[arg-type]
        yield from ((need, None) for need in needs if need.exchange is not None)
