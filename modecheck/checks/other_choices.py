"""What the choices of options that were not made could still bring to life.

When one variant of a device is explored, a rule that asks for another choice is not dead, nor is
anything that depends on it. The dependence is followed through states, events and variables until
nothing new is found; it errs on the side of silence.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from modecheck.checks.coverage import Coverage, leaves_of
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.terms import InState, ReadVariable, parts_of


@dataclass(slots=True)
class Dependent:
    """Rules, leaves, variables (each with its chip) and events that other choices could touch."""

    rules: set[tuple[str, str]] = field(default_factory=set)
    leaves: set[tuple[str, str]] = field(default_factory=set)
    events: set[str] = field(default_factory=set)
    variables: set[tuple[str, str]] = field(default_factory=set)

    @property
    def size(self) -> int:
        return len(self.rules) + len(self.leaves) + len(self.events) + len(self.variables)


def dependent_on_other_choices(device: Device, coverage: Coverage) -> Dependent:
    """Everything unseen that another choice of the device's options might bring to life."""
    found = Dependent()
    if all(len(option.choices) < 2 for option in device.options.values()):
        return found
    for link in device.links.values():
        if set(re.findall(r"\w+", link.up_text)) & set(device.options):
            found.events |= set(link.carries)
    before = -1
    while found.size != before:
        before = found.size
        for chip in device.chips.values():
            for rule in chip.rules:
                name = (rule.chip, rule.title)
                if name not in coverage.taken and _depends(chip, rule, found):
                    _add(chip, rule, found)
    return found


def _depends(chip: Chip, rule: Rule, found: Dependent) -> bool:
    if rule.mentions:
        return True
    if any((chip.name, leaf) in found.leaves for leaf in leaves_of(chip, rule)):
        return True
    if any(event.name in found.events for event in rule.trigger):
        return True
    return rule.guard is not None and any(
        (isinstance(part, ReadVariable) and (part.chip, part.variable) in found.variables)
        or (isinstance(part, InState) and any((part.chip, x) in found.leaves for x in part.leaves))
        for part in parts_of(rule.guard)
    )


def _add(chip: Chip, rule: Rule, found: Dependent) -> None:
    found.rules.add((rule.chip, rule.title))
    found.events |= set(rule.raises) | {send.message for send in rule.sends}
    found.variables |= {
        (chip.name, target.variable)
        for assignment in rule.assignments
        for target in assignment.targets
    }
    if rule.target is not None:
        found.leaves |= {(chip.name, leaf) for leaf in chip.states[rule.target].leaves}
