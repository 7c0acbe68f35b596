"""What an exploration took and reached: the basis for reporting what is never seen.

Coverage of several variants of a device can be joined: a rule that is taken with only one choice of
an option is alive.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from modecheck.engine.contract.encounters import BLOCKED
from modecheck.engine.contract.space import Space
from modecheck.model.parts import Chip, Rule
from modecheck.product.ir import Product
from modecheck.product.rule_order import rules_at

RuleName = tuple[str, str]
"""A chip and the title of its rule."""


@dataclass(slots=True)
class Coverage:
    """`taken`, `met` and `shadowed` hold rules as (chip, title), `occupied` leaves as (chip, leaf).

    A rule is met when its event arrived in one of its states. Of the rules that are never taken
    although their own guards held, `shadowed` maps each to the earlier rule that was taken instead,
    and `blocked` holds those whose links were full.
    """

    taken: set[RuleName] = field(default_factory=set)
    occupied: set[tuple[str, str]] = field(default_factory=set)
    met: set[RuleName] = field(default_factory=set)
    shadowed: dict[RuleName, str] = field(default_factory=dict)
    blocked: set[RuleName] = field(default_factory=set)


def joined(parts: Iterable[Coverage]) -> Coverage:
    """The union of what several explorations saw."""
    whole = Coverage()
    for part in parts:
        whole.taken |= part.taken
        whole.occupied |= part.occupied
        whole.met |= part.met
        whole.shadowed.update(part.shadowed)
        whole.blocked |= part.blocked
    return whole


def coverage_of(space: Space) -> Coverage:
    """What one exploration took and reached."""
    product = space.product
    names = [(rule.chip, rule.title) for rule in product.rules]
    coverage = Coverage()
    coverage.taken = {names[number] for number in space.observed.taken}
    for form, leaves in zip(product.chips, space.occupied, strict=True):
        coverage.occupied |= {(form.name, form.leaves[leaf]) for leaf in leaves}
    coverage.met = _met(space)
    hindered = (coverage.met | {names[number] for number in _waiting(product)}) - coverage.taken
    asleep = {n for n, name in enumerate(names) if name in hindered}
    if asleep:
        shadows = space.shadows(frozenset(asleep))
        coverage.shadowed = {names[n]: names[by][1] for n, by in shadows.items() if by != BLOCKED}
        coverage.blocked = {names[n] for n, by in shadows.items() if by == BLOCKED}
    return coverage


def _waiting(product: Product) -> set[int]:
    """The rules that a chip takes by itself, but only once links have room."""
    chains = (chain for form in product.chips for chain in form.steps)
    return {reaction.rule for chain in chains for reaction in chain if reaction.rooms}


def _met(space: Space) -> set[RuleName]:
    product = space.product
    arrivals: set[tuple[str, str, str, str]] = set()
    for meeting in space.observed.encounters:
        form = product.chips[meeting.chip]
        link, name = event_name(product, meeting.queue, meeting.event)
        arrivals.add((form.name, form.leaves[meeting.leaf], link, name))
    met = set()
    for chip, leaf, link, name in arrivals:
        for rule in rules_at(product.device.chips[chip], leaf):
            if any(e.name == name and e.link in (None, link) for e in rule.trigger):
                met.add((chip, rule.title))
    return met


def event_name(product: Product, queue: int, event: int) -> tuple[str, str]:
    """The link (empty for a signal) and the name of an event."""
    if queue < 0:
        return "", product.signals[event]
    form = product.queues[queue]
    return form.name, form.messages[event - 1].name


def leaves_of(chip: Chip, rule: Rule) -> set[str]:
    """The innermost states in which a rule can be taken."""
    if not rule.sources:
        return set(chip.leaves)
    return {leaf for source in rule.sources for leaf in chip.states[source].leaves}
