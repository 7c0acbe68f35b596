"""Which engine walks: the compiled one, or the plain one where the other cannot or is missing."""

from __future__ import annotations

from modecheck.engine.bounded_search import PlainSearcher, Searcher
from modecheck.engine.choice import EngineName, EngineUnavailable
from modecheck.engine.walk_targets import WatchList
from modecheck.engine.walking import PlainWalker, Walker
from modecheck.product.ir import Product


def walker_for(
    product: Product, watched: WatchList, *, engine: EngineName, seed: int, depth: int
) -> Walker:
    """A walker; all engines walk the same way. Raises `EngineUnavailable` when a forced engine
    cannot do it.
    """
    if engine != "plain":
        try:
            from modecheck.engine.compiled.compiled_walks import CompiledWalker
            from modecheck.engine.compiled.steps import NotCompilableError

            try:
                return CompiledWalker(product, watched, seed=seed, depth=depth)
            except NotCompilableError as error:
                _need_free_choice(engine, str(error))
        except ImportError as error:
            _need_free_choice(engine, f"{error.name or error} is not installed")
    return PlainWalker(product, watched, seed=seed, depth=depth)


def searcher_for(product: Product, watched: WatchList, *, engine: EngineName) -> Searcher:
    """A searcher, likewise."""
    if engine != "plain":
        try:
            from modecheck.engine.compiled.compiled_walks import CompiledSearcher
            from modecheck.engine.compiled.steps import NotCompilableError

            try:
                return CompiledSearcher(product, watched)
            except NotCompilableError as error:
                _need_free_choice(engine, str(error))
        except ImportError as error:
            _need_free_choice(engine, f"{error.name or error} is not installed")
    return PlainSearcher(product, watched)


def _need_free_choice(engine: EngineName, reason: str) -> None:
    if engine == "compiled":
        raise EngineUnavailable(reason)
