"""What the walks saw of a device, over time: states, rules, events in states, mode switches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.checks.coverage import event_name
from modecheck.checks.roaming.estimates import Estimate, estimate_of
from modecheck.engine.search.walking import Walker
from modecheck.product.ir import Product


@dataclass(frozen=True, slots=True)
class SeenSoFar:
    """What was seen after `runs` runs and `steps` steps. A rule, or an event in a state of a chip,
    counts as seen when a step with it leads from a visited state; a switch when a walk took it.
    """

    runs: int
    steps: int
    estimate: Estimate
    rules: frozenset[tuple[str, str]]
    meetings: frozenset[tuple[str, str, str, str]]
    switches: frozenset[tuple[str, str]]


def seen_by(walkers: Sequence[Walker]) -> SeenSoFar:
    """What walkers through several variants of a device saw together."""
    tallies = [walker.tally for walker in walkers]
    rules: set[tuple[str, str]] = set()
    meetings: set[tuple[str, str, str, str]] = set()
    switches: set[tuple[str, str]] = set()
    for walker in walkers:
        product, observed = walker.product, walker.observed
        rules |= {(product.rules[n].chip, product.rules[n].title) for n in observed.taken}
        for met in observed.encounters:
            chip = product.chips[met.chip]
            event = event_name(product, met.queue, met.event)
            meetings.add((chip.name, chip.leaves[met.leaf], *event))
        modes = list(product.device.modes)
        switches |= {(modes[one], modes[two]) for one, two in walker.switches}
    return SeenSoFar(
        runs=sum(tally.runs for tally in tallies),
        steps=sum(tally.steps for tally in tallies),
        estimate=estimate_of(tallies),
        rules=frozenset(rules),
        meetings=frozenset(meetings),
        switches=frozenset(switches),
    )


@dataclass(frozen=True, slots=True)
class Declared:
    """How many there could be. Not all events in states, nor all switches, need be possible."""

    rules: frozenset[tuple[str, str]]
    meetings: int
    switches: int


def declared_in(products: Sequence[Product]) -> Declared:
    """What is declared in any of several variants."""
    rules: set[tuple[str, str]] = set()
    meetings: set[tuple[str, str, str, str]] = set()
    for product in products:
        rules |= {(rule.chip, rule.title) for rule in product.rules}
        for chip in product.chips:
            messages = {key for reception in chip.receptions for key in reception}
            signals = {(-1, signal) for heard in chip.hearings for signal in heard}
            for queue, event in messages | signals:
                named = event_name(product, queue, event)
                meetings |= {(chip.name, leaf, *named) for leaf in chip.leaves}
    modes = len(products[0].device.modes)
    return Declared(frozenset(rules), len(meetings), modes * (modes - 1))
