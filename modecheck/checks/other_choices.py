"""What might be reached or taken with other choices of options.

When one variant of a device is explored, a rule that needs another choice is not dead, nor is
anything that depends on it. The dependence is followed through states, events and variables up to
a fixed point; in doubt nothing is reported.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from modecheck.checks.coverage import Coverage, leaves_of
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.terms import InState, Payload, ReadVariable, Term, parts_of
from modecheck.product.rule_order import condition_of


@dataclass(slots=True)
class Dependent:
    """Rules, leaves, variables (each with its chip) and events that other choices may affect."""

    rules: set[tuple[str, str]] = field(default_factory=set)
    leaves: set[tuple[str, str]] = field(default_factory=set)
    events: set[str] = field(default_factory=set)
    variables: set[tuple[str, str]] = field(default_factory=set)

    @property
    def size(self) -> int:
        return len(self.rules) + len(self.leaves) + len(self.events) + len(self.variables)


def dependent_on_other_choices(device: Device, coverage: Coverage) -> Dependent:
    """Everything unseen that might occur with another choice of the device's options."""
    found = Dependent()
    if all(len(option.choices) < 2 for option in device.options.values()):
        return found
    for chip in device.chips.values():
        for rule in chip.rules:
            if rule.mentions:
                # Taken or not: with another choice the chip may also stay where it is.
                _add(chip, rule, found)
                found.leaves |= {(chip.name, leaf) for leaf in leaves_of(chip, rule)}
    before = -1
    while found.size != before:
        before = found.size
        for link in device.links.values():
            named = set(re.findall(r"\w+", link.up_text)) & set(device.options)
            if named or _reads(link.up_when, found):
                found.events |= set(link.carries)
        for chip in device.chips.values():
            for rule in chip.rules:
                _follow(device, chip, rule, found, taken=(chip.name, rule.title) in coverage.taken)
    return found


def _follow(device: Device, chip: Chip, rule: Rule, found: Dependent, *, taken: bool) -> None:
    if not taken and _depends(device, chip, rule, found):
        _add(chip, rule, found)
        return
    heard = any(event.name in found.events for event in rule.trigger)
    for assignment in rule.assignments:
        if any(_reads(value, found, heard=heard) for value in assignment.values):
            found.variables |= {(chip.name, target.variable) for target in assignment.targets}
    for send in rule.sends:
        if _reads(send.value, found, heard=heard):
            found.events.add(send.message)
    for given in rule.signalled:
        if _reads(given.value, found, heard=heard):
            found.events.add(given.signal)


def _depends(device: Device, chip: Chip, rule: Rule, found: Dependent) -> bool:
    if any((chip.name, leaf) in found.leaves for leaf in leaves_of(chip, rule)):
        return True
    if any(event.name in found.events for event in rule.trigger):
        return True
    waits = [send.link for send in rule.sends if device.links[send.link].when_full == "wait"]
    moving = {name for name, _ in found.leaves}
    if any(device.links[link].receiver in moving for link in waits):
        return True
    return _reads(condition_of(rule), found)


def _reads(term: Term | None, found: Dependent, *, heard: bool = False) -> bool:
    """Whether a term could have another value; `heard` when its message could."""
    moving = {name for name, _ in found.leaves}
    return term is not None and any(
        (isinstance(part, ReadVariable) and (part.chip, part.variable) in found.variables)
        or (isinstance(part, InState) and part.chip in moving)
        or (isinstance(part, Payload) and heard)
        for part in parts_of(term)
    )


def _add(chip: Chip, rule: Rule, found: Dependent) -> None:
    found.rules.add((rule.chip, rule.title))
    found.events |= set(rule.signals) | {send.message for send in rule.sends}
    found.variables |= {
        (chip.name, target.variable)
        for assignment in rule.assignments
        for target in assignment.targets
    }
    if rule.target is not None:
        found.leaves |= {(chip.name, leaf) for leaf in chip.states[rule.target].leaves}
