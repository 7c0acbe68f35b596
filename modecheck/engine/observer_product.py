"""Explore a product with observers beside it, of which the rest is explored already.

Observers follow the transitions that are known, where the compiled engine has overheard all that
they ask for; else everything is explored anew. What is found is the same. Several that follow are
begun ahead, on other cores, while what was asked for first is looked at.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Event
from types import TracebackType
from typing import TYPE_CHECKING, Self

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.observer_answer import ObserverVerdict
from modecheck.engine.contract.space import Space
from modecheck.engine.search.exploration import Reporter
from modecheck.engine.search.explored_space import Exploration
from modecheck.product.automata import Automaton
from modecheck.product.ir import Product

if TYPE_CHECKING:
    from modecheck.engine.native.graph import CompiledExploration

Names = tuple[str, ...]
"""Of requirements that are watched."""
ObserverQuery = tuple[Names, Search]


class ObserverProducts:
    """Explorations beside a space, each with observers for some requirements: `product_with` makes
    the product. A context, at the end of which nothing goes on.
    """

    def __init__(
        self, space: Space, product_with: Callable[[Names], Product], reporter: Reporter | None
    ) -> None:
        self._known = _natively_explored(space)
        self._product_with = product_with
        self._reporter = reporter
        self._interrupted = Event()
        self._pool: ThreadPoolExecutor | None = None
        self._begun: dict[Names, tuple[Search, Future[Space | None]]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is not None:
            if error is not None:
                self._interrupted.set()
            self._pool.shutdown(cancel_futures=True)

    def begin(self, asked: Sequence[ObserverQuery]) -> None:
        """Begin with what will be asked for, the last first: the first is asked for at once."""
        threads = (asked[0][1].threads or os.cpu_count() or 1) if asked else 1
        helpers = min(threads, len(asked)) - 1
        if self._known is None or helpers < 1:
            return
        self._pool = ThreadPoolExecutor(helpers)
        for names, search in asked[:0:-1]:
            self._begun[names] = search, self._pool.submit(self._followed, names, search)

    def explore(self, names: Names, search: Search) -> Space:
        """The exploration with observers for these requirements."""
        found = self._ahead(names, search) or self._followed(names, search)
        return found or explore_with(self._product_with(names), search, self._reporter)

    def verdict(self, name: str, automaton: Automaton, search: Search) -> ObserverVerdict | None:
        """What the observer of one requirement finds, where that can be told without exploring."""
        if self._known is None:
            return None
        from modecheck.engine.native.observer_verdict import verdict_along

        product = self._product_with((name,))
        return verdict_along(self._known, product, automaton, search.limits, self._interrupted)

    def _ahead(self, names: Names, search: Search) -> Space | None:
        """What was begun ahead, unless nobody has come to it yet."""
        how, future = self._begun.pop(names, (None, None))
        if future is None or how != search or future.cancel():
            return None
        try:
            return future.result()
        except KeyboardInterrupt:
            self._interrupted.set()
            return future.result()

    def _followed(self, names: Names, search: Search) -> Space | None:
        if self._known is None:
            return None
        from modecheck.engine.native.observer_exploration import observer_product

        product = self._product_with(names)
        return observer_product(self._known, product, search.limits, self._interrupted)


def _natively_explored(space: Space) -> CompiledExploration | None:
    """The space, if the compiled engine has found it as it is."""
    if not isinstance(space, Exploration) or not space.graph.arrays.is_native:
        return None
    from modecheck.engine.native.graph import as_compiled

    return as_compiled(space)
