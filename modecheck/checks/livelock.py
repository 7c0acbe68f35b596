"""Livelock: chips loop forever without making progress.

A loop makes no progress if it is a fair loop of only chips' rules and deliveries (no actor acts,
nothing fails, nothing is lost), in which some chip moves and never comes to rest, no pairing is
made, and no message is delivered whose kind the model declares (event, state or relative: these
are what a link exists for; messages without a kind are talk between chips). A chip without any rest
state is meant to be busy all the time, and cannot be the one that never comes to rest. A step that
changes nothing is not part of such a loop: a chip that can do nothing else waits, and where all
chips do, it is a deadlock.

The cause is a smallest set of chips that can loop while all others stand still: chips are left out
one by one, in the order of the file, as long as such a loop remains. Chips that loop together have
one finding; so have two that are both busy whatever happens.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.engine.contract.space import FairLoop, LoopQuery, Space
from modecheck.model.wording import listed
from modecheck.product.ir import Product
from modecheck.scenario.traces import lasso


@dataclass(frozen=True, slots=True)
class Livelock:
    """Chips (numbers) that loop together, those of them that never rest, and the loop."""

    together: tuple[int, ...]
    restless: tuple[int, ...]
    loop: FairLoop


def find(evidence: Evidence) -> Iterator[Finding]:
    """A finding for each set of chips that can loop forever."""
    for found in livelocks(evidence.space):
        yield _finding(evidence.space, found)


def livelocks(space: Space) -> list[Livelock]:
    """For each chip that can loop forever without rest, one smallest set of chips that suffices."""
    found: dict[tuple[int, ...], Livelock] = {}
    query = _query(space)
    # For most devices one search shows that no chip can: no chip is restless where all rest.
    if space.fair_loop(replace(query, unwanted=space.mark("settled"))).loop is None:
        return []
    for number, chip in enumerate(space.product.chips):
        if chip.actor or not any(chip.rests) or all(chip.rests):
            continue
        own = replace(query, restless=number)
        some = space.fair_loop(own).loop
        if some is None:
            continue
        together, loop = smallest(space, own, some)
        known = found.get(together)
        if known is None:
            found[together] = Livelock(together, (number,), loop)
        else:
            nearest = min(known.loop, loop, key=lambda one: len(one.stem))
            found[together] = Livelock(together, (*known.restless, number), nearest)
    return list(found.values())


def _query(space: Space) -> LoopQuery:
    """Loops without progress."""
    gains = sum(space.mark(f"paired:{name}") for name in space.product.device.pairings)
    talk = frozenset(_idle_talk(space.product))
    return LoopQuery(without_gains=gains, only=talk, only_changes=True, past_failures=True)


def _idle_talk(product: Product) -> Iterator[int]:
    """The labels of chips' rules, of ticks, and of deliveries of what links are not there for."""
    for number, label in enumerate(product.labels):
        if label.kind == "rule":
            if not product.chips[label.chip].actor:
                yield number
        elif label.kind == "tick":
            yield number
        elif label.kind in ("deliver", "discard"):
            queue = product.queues[label.queue]
            message = queue.messages[label.message - 1].name
            if not product.device.links[queue.name].carries[message].payload:
                yield number


def smallest(space: Space, query: LoopQuery, some: FairLoop) -> tuple[tuple[int, ...], FairLoop]:
    """A smallest set of chips that suffices for such a loop, and the nearest loop of them.

    A chip that does not move in the current loop is not tried: the loop shows that it can stand
    still.
    """
    moving = _moving(space, query, some)
    for number, _ in enumerate(space.product.chips):
        quieter = replace(query, held_still=query.held_still | 1 << number)
        if number == query.restless:
            continue
        if moving >> number & 1:
            other = space.fair_loop(quieter).loop
            if other is None:
                continue
            moving = _moving(space, quieter, other)
        query = quieter
    loop = space.fair_loop(query).loop
    assert loop is not None
    together = (n for n, _ in enumerate(space.product.chips) if not query.held_still >> n & 1)
    return tuple(together), loop


def _moving(space: Space, query: LoopQuery, found: FairLoop) -> int:
    """The chips (bits) that move in a loop; those that stand still for the query do not."""
    before, moving = found.loop[-1][1], 0
    for label, after in found.loop:
        edges = (e for e in space.edges_from(before) if (e.label, e.target) == (label, after))
        moving |= next(edge.moved for edge in edges if not edge.moved & query.held_still)
        before = after
    return moving


def _finding(space: Space, found: Livelock) -> Finding:
    product = space.product
    names = [product.chips[number].name for number in found.together]
    first = product.chips[found.restless[0]]
    loop = found.loop.loop
    begin = loop[-1][1]
    where = first.leaves[space.state(begin)[first.state_field]]
    return Finding(
        code="livelock",
        subject="+".join(names),
        text=f"{listed(names)} can loop forever without making progress",
        place=product.device.chips[first.name].states[where].place,
        trace=lasso(space, found.loop),
        details=tuple(_details(space, found)),
    )


def _details(space: Space, found: Livelock) -> Iterator[str]:
    restless = [space.product.chips[number].name for number in found.restless]
    yield f"{listed(restless)} never come{'' if len(restless) > 1 else 's'} to rest in this loop"
    if space.product.time is None and _has_early_timer(space, found.loop):
        yield "time is abstract: a timer may expire before a message in flight arrives"


def _has_early_timer(space: Space, found: FairLoop) -> bool:
    """Whether a timer runs out in the loop while a message waits in some link."""
    product = space.product
    heads = [queue.slots[0].code for queue in product.queues]
    before = found.loop[-1][1]
    for number, after in found.loop:
        label = product.labels[number]
        timer = label.kind == "rule" and product.rules[label.rule].kind == "timer"
        if timer and any(space.state(before)[head] for head in heads):
            return True
        before = after
    return False


CHECK = Check("livelock", Needs.LOOPS, find, doing="looking for loops")
