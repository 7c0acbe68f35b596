"""States that are never reached, rules that are never taken, with the cause, and unused parts.

Chips of one file share its states and rules: one is reported only if no chip of the file ever sees
it. What follows from an unreachable state is not reported again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from modecheck.checks.coverage import Coverage, joined, leaves_of
from modecheck.checks.declared import Check, Needs
from modecheck.checks.explored import Explored, is_every_variant
from modecheck.checks.findings import Finding
from modecheck.checks.other_choices import Dependent, dependent_on_other_choices
from modecheck.model.parts import Chip, Device, Rule, State
from modecheck.model.places import Place


def seen_in(explored: Sequence[Explored]) -> tuple[Device, Coverage, Dependent]:
    """What all variants together reach, and what those that were left out might reach."""
    device = explored[0].device
    coverage = joined(one.coverage for one in explored)
    if is_every_variant(explored):
        return device, coverage, Dependent()
    return device, coverage, dependent_on_other_choices(device, coverage)


def _unreachable(explored: Sequence[Explored]) -> Iterator[Finding]:
    device, coverage, excused = seen_in(explored)
    by_place: dict[Place, list[tuple[Chip, State]]] = {}
    for chip in device.chips.values():
        for state in chip.states.values():
            by_place.setdefault(state.place, []).append((chip, state))
    for place, instances in by_place.items():
        if any(_seen(coverage, excused, chip, state) for chip, state in instances):
            continue
        if any(_parent_unseen(coverage, chip, state) for chip, state in instances):
            continue
        chip, state = instances[0]
        names = " and ".join(dict.fromkeys(chip.name for chip, _ in instances))
        text = f"{names} {'is' if len(instances) == 1 else 'are'} never in {state.name}"
        yield Finding("unreachable-state", f"{chip.name}.{state.name}", text, place)


def _seen(coverage: Coverage, excused: Dependent, chip: Chip, state: State) -> bool:
    leaves = {(chip.name, leaf) for leaf in state.leaves}
    return bool(leaves & (coverage.occupied | excused.leaves))


def _parent_unseen(coverage: Coverage, chip: Chip, state: State) -> bool:
    """Whether the state around it is not reached either, and so is the one to report."""
    if state.parent is None:
        return False
    around = chip.states[state.parent]
    return not any((chip.name, leaf) in coverage.occupied for leaf in around.leaves)


def _dead(explored: Sequence[Explored]) -> Iterator[Finding]:
    device, coverage, excused = seen_in(explored)
    by_place: dict[Place, list[tuple[Chip, Rule]]] = {}
    for chip in device.chips.values():
        for rule in chip.rules:
            by_place.setdefault(rule.place, []).append((chip, rule))
    for place, instances in by_place.items():
        names = {(chip.name, rule.title) for chip, rule in instances}
        if names & (coverage.taken | excused.rules):
            continue
        reached = [one for one in instances if _in_reached_state(coverage, *one)]
        if reached:
            chip, rule = reached[0]
            text = f"{chip.name} never takes {rule.title}: {_cause(device, coverage, reached)}"
            yield Finding("dead-rule", f"{chip.name}.{rule.title}", text, place)


def _in_reached_state(coverage: Coverage, chip: Chip, rule: Rule) -> bool:
    return any((chip.name, leaf) in coverage.occupied for leaf in leaves_of(chip, rule))


def _cause(device: Device, coverage: Coverage, instances: list[tuple[Chip, Rule]]) -> str:
    names = [(chip.name, rule.title) for chip, rule in instances]
    chip, rule = instances[0]
    shadow = next((coverage.shadowed[name] for name in names if name in coverage.shadowed), None)
    if shadow is not None:
        urgent = any(one.title == shadow and one.priority > rule.priority for one in chip.rules)
        why = "has a higher priority" if urgent else "comes before it"
        return f"it is shadowed by {shadow}, which {why}"
    if rule.trigger and not any(name in coverage.met for name in names):
        events = " or ".join(str(event) for event in rule.trigger)
        where = f" while it is in {' or '.join(rule.sources)}" if rule.sources else ""
        return f"{events} never arrives{where}"
    if any(name in coverage.blocked for name in names):
        return _without_room(device, rule)
    if rule.branch is not None and rule.branch.before:
        return _never_chosen(rule)
    if rule.guard is None and rule.kind == "internal" and chip.runs_on:
        return f"{chip.name} never has its turn on {chip.runs_on} there"
    if rule.guard is None:
        return "it never becomes due there"
    turn = f" when {chip.name} has its turn on {chip.runs_on}" if chip.runs_on else ""
    return f"its guard {rule.guard_text} is never true there{turn}"


def _never_chosen(rule: Rule) -> str:
    """Why a branch is never taken that comes after others."""
    if rule.guard is None:
        return "a branch before it is always chosen there"
    return f"{rule.guard_text} is never true there unless a branch before it is chosen"


def _without_room(device: Device, rule: Rule) -> str:
    links = dict.fromkeys(send.link for send in rule.sends)
    full = [link for link in links if device.links[link].when_full == "wait"]
    text = f"links {' and '.join(full)} never have room at the same time"
    if len(full) == 1:
        text = f"link {full[0]} never has room"
    return f"{text} while its guard {rule.guard_text} is true" if rule.guard else f"{text} for it"


def _unused(explored: Sequence[Explored]) -> Iterator[Finding]:
    for one in explored[0].device.unused:
        yield Finding("unused", one.subject, one.text, one.place)


CHECKS = (
    Check("unreachable-state", Needs.STATES, across=_unreachable),
    Check("dead-rule", Needs.STATES, across=_dead),
    Check("unused", Needs.TEXT, across=_unused),
)
