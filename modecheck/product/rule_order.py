"""The order among the rules of a chip: lowered here, so that no engine knows of it.

Rules that wait for the same message or signal become alternatives in order, of which the first that
is enabled is taken. Rules that wait for the same timer are steps of their own: each gets the
negated guards of those before it. Any other rules have no order: each may be taken. A branch of a
rule with `choose` is a rule whose condition says that no branch before it is chosen.
"""

from __future__ import annotations

from modecheck.model.parts import Chip, Event, Rule
from modecheck.model.terms import Operation, Term


def condition_of(rule: Rule) -> Term | None:
    """All that has to hold for a rule, besides its trigger; None if nothing has to."""
    if rule.branch is None:
        return rule.guard
    before = (Operation("not", (term,)) for term in rule.branch.before)
    parts = [term for term in (rule.branch.given, *before, rule.guard) if term is not None]
    return Operation("and", tuple(parts)) if parts else None


def rules_at(chip: Chip, leaf: str) -> tuple[Rule, ...]:
    """The rules that hold in an innermost state: innermost first, then by priority, the highest
    first, then document order.
    """
    level_of: dict[int, int] = {}
    for level, name in enumerate(chip.ancestry(leaf)):
        for number in chip.rules_from.get(name, ()):
            level_of.setdefault(number, level)
    order = sorted(
        (level, -chip.rules[number].priority, number) for number, level in level_of.items()
    )
    return tuple(chip.rules[number] for *_, number in order)


def alternatives(chip: Chip, leaf: str, event: Event) -> list[Rule]:
    """The rules for a message of a link, or for a signal, in the order in which they are tried."""
    heard = {event, Event(event.name)}
    return [rule for rule in rules_at(chip, leaf) if heard & set(rule.trigger)]


def rules_before(chip: Chip, rule: Rule) -> dict[Rule, list[int]]:
    """Rules that wait for the same timer and go first, each with the leaves (numbers) in which it
    does.
    """
    earlier: dict[Rule, list[int]] = {}
    for number, leaf in enumerate(chip.leaves if rule.expires else ()):
        here = [one for one in rules_at(chip, leaf) if one.expires == rule.expires]
        for one in here[: here.index(rule)] if rule in here else ():
            earlier.setdefault(one, []).append(number)
    return earlier
