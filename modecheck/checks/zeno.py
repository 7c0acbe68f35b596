"""Zeno behaviour: chips take infinitely many steps in zero time.

A fair loop of chips' rules and deliveries without a tick, in which time cannot advance somewhere:
where it always could, it eventually would, even if that changed nothing. The cause is a smallest
set of chips, as for livelocks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.checks.livelock import smallest
from modecheck.engine.contract.space import FairLoop, LoopQuery, Space
from modecheck.model.wording import listed
from modecheck.product.ir import Product
from modecheck.scenario.traces import lasso


def find(evidence: Evidence) -> Iterator[Finding]:
    """A finding for each set of chips that can loop in zero time."""
    space = evidence.space
    if space.product.time is None:
        return
    own = frozenset(_at_one_moment(space.product))
    query = LoopQuery(only=own, timeless=True, past_failures=True)
    while (some := space.fair_loop(query).loop) is not None:
        together, loop = smallest(space, query, some)
        yield _finding(space, together, loop)
        query = replace(query, held_still=query.held_still | 1 << together[0])


def _at_one_moment(product: Product) -> Iterator[int]:
    """The labels of chips' own rules and of deliveries."""
    for number, label in enumerate(product.labels):
        own = label.kind == "rule" and not product.chips[label.chip].actor
        if own or label.kind in ("deliver", "discard"):
            yield number


def _finding(space: Space, together: tuple[int, ...], loop: FairLoop) -> Finding:
    product = space.product
    names = [product.chips[number].name for number in together]
    first = product.chips[together[0]]
    where = first.leaves[space.state(loop.loop[-1][1])[first.state_field]]
    return Finding(
        code="zeno",
        subject="+".join(names),
        text=f"{listed(names)} can take infinitely many steps in zero time",
        place=product.device.chips[first.name].states[where].place,
        trace=lasso(space, loop),
        details=("time cannot advance until the loop ends, and it may never end",),
    )


CHECK = Check("zeno", Needs.LOOPS, find, doing="looking for loops in zero time")
