"""Which engine answers queries about times: the one that explored."""

from __future__ import annotations

from collections.abc import Callable

from modecheck.engine.explored_space import Exploration
from modecheck.engine.space import Space
from modecheck.engine.time_bounds import PlainTimeBounds, TimeBoundQuery, TimeBounds


def time_bounds_in(space: Space, query: TimeBoundQuery) -> TimeBounds | None:
    """The answer over what was explored; None where its transitions were not kept. States that were
    not expanded end a stretch, so that of an incomplete exploration it is what was seen so far.
    The product must have been made by `with_moments`.
    """
    return time_bounds_of(space)(query)


def time_bounds_of(space: Space) -> Callable[[TimeBoundQuery], TimeBounds | None]:
    """What answers queries as `time_bounds_in` does. Those about the same region take less time
    when they follow each other, and less still those about the same goal.
    """
    assert isinstance(space, Exploration)
    if not space.graph.arrays.is_native:
        return lambda query: PlainTimeBounds(space, query).durations()
    from modecheck.engine.compiled.compiled_time_bounds import CompiledTimeBounds
    from modecheck.engine.compiled.graph import as_compiled

    compiled = as_compiled(space)
    assert compiled is not None
    return CompiledTimeBounds(compiled).answer
