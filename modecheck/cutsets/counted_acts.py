"""An act of a person, counted as if it were a fault: a rule that an actor takes by itself.

All other acts stay free, and nothing fails. So the least count with which something breaks is how
often the act is needed for that, at the worst moments, whatever else people do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.cutsets.counted_faults import CountedFault, CountedFaults, Counts, counted_faults
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.rule_effects import Assignment, Target
from modecheck.model.terms import Constant, Operation, ReadVariable
from modecheck.model.values import number_type
from modecheck.model.variables import Variable
from modecheck.product.ir import Product

LEFT = "times left"
"""The variable that counts an act; no variable of a model has such a name."""


@dataclass(frozen=True, slots=True)
class Act:
    """A rule (with all its branches) that an actor takes by itself, and what it does in words."""

    actor: str
    rule: str
    about: str

    @property
    def name(self) -> str:
        return f"{self.actor}.{self.rule}"


def acts_of(device: Device) -> Iterator[Act]:
    """Every act of every actor, in document order."""
    for chip in device.chips.values():
        if chip.actor:
            own = {rule.whole: rule.phrase for rule in reversed(chip.rules) if not rule.trigger}
            yield from (Act(chip.name, title, own[title]) for title in reversed(own))


def labels_of(product: Product, act: Act) -> frozenset[int]:
    """The labels of the steps that begin with an act."""
    return frozenset(
        number
        for number, label in enumerate(product.labels)
        if label.kind == "rule"
        and product.chips[label.chip].name == act.actor
        and product.rules[label.rule].whole == act.rule
    )


@dataclass(frozen=True, slots=True)
class CountedAct(CountedFaults):
    """An act that is counted up to `most`, in a device in which nothing fails."""

    act: Act = Act("", "", "")

    def budgets(self, product: Product) -> list[int]:
        names = [field.name for field in product.fields]
        return [names.index(f"{self.act.actor}.{LEFT}")]

    def labels(self, product: Product) -> list[frozenset[int]]:
        return [labels_of(product, self.act)]

    def is_allowed(self, counts: Counts) -> bool:  # noqa: ARG002 - actors act as often as they like
        return True


def counted_act(device: Device, act: Act, most: int) -> CountedAct:
    """The device with an act counted up to `most`."""
    unharmed = replace(counted_faults(device, 0, 0).device, faults_in_all=None)
    chips = {
        name: _counting(chip, act, most) if name == act.actor else chip
        for name, chip in device.chips.items()
    }
    fault = CountedFault("act", act.name)
    return CountedAct(device, replace(unharmed, chips=chips), (fault,), most, most, act)


def _counting(chip: Chip, act: Act, most: int) -> Chip:
    """The actor with a variable for how often it may still act that way."""
    left = Variable(LEFT, number_type(0, most), (most,), 0, True, chip.place)
    rules = tuple(
        _paid(rule) if rule.whole == act.rule and not rule.trigger else rule for rule in chip.rules
    )
    return replace(chip, variables=chip.variables | {LEFT: left}, rules=rules)


def _paid(rule: Rule) -> Rule:
    """The rule, possible only where the count is not 0, which it lessens."""
    count = ReadVariable(rule.chip, LEFT)
    some = Operation(">", (count, Constant(0)))
    guard = some if rule.guard is None else Operation("and", (rule.guard, some))
    less = Operation("-", (count, Constant(1)))
    paying = Assignment((Target(LEFT),), (less,), "", rule.place)
    return replace(rule, guard=guard, assignments=(*rule.assignments, paying))
