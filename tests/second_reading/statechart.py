"""A chip by itself: which rules hold where, what it says of a message, where a rule can be cut."""

from __future__ import annotations

from modecheck.model.parts import Chip, Event, Rule


def in_turn(chip: Chip) -> list[Rule]:
    """The rules of a chip in the order in which those of one state are tried: the highest priority
    first, then document order.
    """
    urgencies = sorted({rule.priority for rule in chip.rules}, reverse=True)
    return [rule for urgency in urgencies for rule in chip.rules if rule.priority == urgency]


def rules_in(chip: Chip, leaf: str) -> list[Rule]:
    """The rules that hold in a state: the innermost first, then in turn."""
    around = states_around(chip, leaf)
    ranked, rules = [], in_turn(chip)
    for position, rule in enumerate(rules):
        depths = [around.index(state) for state in rule.sources if state in around]
        if depths or not rule.sources:
            ranked.append((min(depths, default=len(around)), position))
    return [rules[position] for _, position in sorted(ranked)]


def branches(chip: Chip, rule: Rule) -> list[Rule]:
    """The branches of the rule that this is a branch of, in order; or the rule alone."""
    if rule.branch is None:
        return [rule]
    found = [one for one in chip.rules if one.branch and one.branch.of == rule.branch.of]
    return sorted(found, key=lambda one: one.branch.number if one.branch else 0)


def states_around(chip: Chip, leaf: str) -> list[str]:
    """A state, the one around it, and so on outwards."""
    around, state = [], chip.states[leaf]
    while True:
        around.append(state.name)
        if state.parent is None:
            return around
        state = chip.states[state.parent]


def owes(chip: Chip, rule: Rule) -> bool:
    """Whether a rule that can be taken has to be in the end: actors owe nothing."""
    return (rule.fair or chip.fair or ("none" if chip.actor else "weak")) != "none"


def word_on(chip: Chip, leaf: str, event: Event) -> str:
    """The innermost word on a message that no rule takes: "discard", "defer" or nothing."""
    for state in [*states_around(chip, leaf), ""]:
        for reply in chip.replies.get(state, ()):
            if reply.event in (event, Event(event.name)):
                return reply.manner
    return ""


def places_to_cut(chip: Chip, rule: Rule) -> list[int]:
    """After how many assignments a cut shows: between two writes to persistent variables."""
    if not rule.separate:
        return []
    writes = [
        number
        for number, assignment in enumerate(rule.assignments, start=1)
        if any(chip.variables[target.variable].persistent for target in assignment.targets)
    ]
    return writes[:-1]


def nth_text(rule: Rule, done: int) -> str:
    """The text of an assignment, numbered where the rule has written the same before."""
    texts = [assignment.text for assignment in rule.assignments[:done]]
    again = texts.count(texts[-1])
    return texts[-1] if again == 1 else f"{texts[-1]} #{again}"
