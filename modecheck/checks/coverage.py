"""What an exploration took and reached, so that states and rules that are never seen can be told.

Coverage of several variants of a device can be joined: a rule that only one choice of an option
needs is alive.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from modecheck.engine.space import Space
from modecheck.model.parts import Chip, Rule
from modecheck.product.form import Product

RuleName = tuple[str, str]
"""A chip and the title of its rule."""


@dataclass(slots=True)
class Coverage:
    """`taken`, `met` and `shadowed` hold rules as (chip, title), `occupied` leaves as (chip, leaf).

    A rule is met when its event arrived in one of its states; `shadowed` names the earlier rule
    that was taken although the rule's own guard held.
    """

    taken: set[RuleName] = field(default_factory=set)
    occupied: set[tuple[str, str]] = field(default_factory=set)
    met: set[RuleName] = field(default_factory=set)
    shadowed: dict[RuleName, str] = field(default_factory=dict)


def joined(parts: Iterable[Coverage]) -> Coverage:
    """What was seen in any of several explorations."""
    whole = Coverage()
    for part in parts:
        whole.taken |= part.taken
        whole.occupied |= part.occupied
        whole.met |= part.met
        whole.shadowed.update(part.shadowed)
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
    asleep = {n for n, name in enumerate(names) if name in coverage.met - coverage.taken}
    if asleep:
        shadows = space.shadows(frozenset(asleep))
        coverage.shadowed = {names[n]: names[winner][1] for n, winner in shadows.items()}
    return coverage


def _met(space: Space) -> set[RuleName]:
    product = space.product
    arrivals: set[tuple[str, str, str, str]] = set()
    for meeting in space.observed.encounters:
        form = product.chips[meeting.chip]
        link, name = event_name(product, meeting.queue, meeting.event)
        arrivals.add((form.name, form.leaves[meeting.leaf], link, name))
    met = set()
    for chip, leaf, link, name in arrivals:
        for rule in product.device.chips[chip].rules_at(leaf):
            if any(e.name == name and e.link in (None, link) for e in rule.trigger):
                met.add((chip, rule.title))
    return met


def event_name(product: Product, queue: int, event: int) -> tuple[str, str]:
    """The link (or nothing, for a signal) and the name of an event that was met."""
    if queue < 0:
        return "", product.signals[event]
    form = product.queues[queue]
    return form.name, form.messages[event - 1].name


def leaves_of(chip: Chip, rule: Rule) -> set[str]:
    """The innermost states in which a rule holds."""
    if not rule.sources:
        return set(chip.leaves)
    return {leaf for source in rule.sources for leaf in chip.states[source].leaves}
