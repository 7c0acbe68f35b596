"""What the scenarios of findings show: which rules are taken and when, what comes to whom, and how
they end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from modecheck.checks.findings import Finding
from modecheck.engine.reference.happenings import (
    Arrived,
    Dropped,
    Happening,
    SignalEmitted,
)
from modecheck.model.parts import Rule
from modecheck.product.ir import Product
from modecheck.repair.used_parts import Part, rule_in, rules_of_the_occasion, used_in
from modecheck.repair.written import WrittenDevice
from modecheck.scenario.replay import Replayed


@dataclass(frozen=True, slots=True)
class TakenMoment:
    """A rule that a scenario takes, how many steps before its end, and every chip's state and the
    variables' values just before.
    """

    rule: Rule
    before_end: int
    states: dict[str, str]
    values: dict[tuple[str, str], str]


@dataclass(slots=True)
class ScenarioFacts:
    """What several scenarios show. `moments` begin with those nearest to an end; `ends` has the
    state of every chip at the end of each scenario; `dropped` names links that drop a message.
    `heard` is what came to each chip: the chip, its state then, the message or signal. `used` has
    for each finding the parts that its scenario depends on.
    """

    written: WrittenDevice
    moments: list[TakenMoment] = field(default_factory=list)
    ends: list[dict[str, str]] = field(default_factory=list)
    dropped: set[str] = field(default_factory=set)
    heard: set[tuple[str, str, str]] = field(default_factory=set)
    used: dict[str, set[Part]] = field(default_factory=dict)

    def follow(self, finding: Finding) -> None:
        """Add the scenario of a finding that has one."""
        assert finding.trace is not None
        product, steps = finding.trace.product, finding.trace.steps
        self.used.setdefault(finding.id, set()).update(used_in(finding, self.written))
        for number, one in enumerate(steps):
            states = _states(product, one.before)
            for what in one.step.happenings:
                if (rule := rule_in(product, what)) is not None:
                    left, values = len(steps) - number, _values(product, one)
                    self.moments.append(TakenMoment(rule, left, states, values))
                self._hear(product, what, states)
            if one.step.failures:
                self._fail(product, one, states)
        self.ends.append(_end(product, steps))

    def _fail(self, product: Product, one: Replayed, states: dict[str, str]) -> None:
        """Rules that could not be carried out are not among what happens in a step."""
        owners = {failure.subject.partition(".")[0] for failure in one.step.failures}
        known = {moment.rule for moment in self.moments if not moment.before_end}
        for rule in rules_of_the_occasion(product, one.step):
            chip = product.device.chips[rule.chip]
            inside = {leaf for source in rule.sources for leaf in chip.states[source].leaves}
            here = not inside or states[rule.chip] in inside
            if here and rule.chip in owners and rule not in known:
                self.moments.append(TakenMoment(rule, 0, states, _values(product, one)))

    def _hear(self, product: Product, what: Happening, states: dict[str, str]) -> None:
        if isinstance(what, SignalEmitted):
            signal = product.signals[what.signal]
            self.heard |= {(name, leaf, signal) for name, leaf in states.items()}
        elif isinstance(what, Arrived):
            queue = product.queues[what.queue]
            name = product.chips[queue.receiver].name
            self.heard.add((name, states[name], queue.messages[what.message - 1].name))
        elif isinstance(what, Dropped):
            self.dropped.add(product.queues[what.queue].name)


def _states(product: Product, state: Sequence[int]) -> dict[str, str]:
    return {chip.name: chip.leaves[state[chip.state_field]] for chip in product.chips}


def _values(product: Product, one: Replayed) -> dict[tuple[str, str], str]:
    return {
        (product.chips[field.owner].name, field.name.rpartition(".")[2]): field.type.spell(value)
        for field, value in zip(product.fields, one.before, strict=False)
        if field.type is not None and field.owner >= 0 and field.low <= value <= field.high
    }


def _end(product: Product, steps: Sequence[Replayed]) -> dict[str, str]:
    """The last state; that before a step that fails."""
    last = next((one.step.after for one in reversed(steps) if one.step.after), None)
    if last is None:
        last = steps[0].before if steps else product.initial
    return _states(product, last)
