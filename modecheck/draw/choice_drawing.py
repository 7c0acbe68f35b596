"""Rules with `choose` on a statechart: UML's choice, a diamond with an arrow for each branch.

A choice whose branches all stay in the state is no diamond: each branch is a line there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.draw.labels import AT_ANY_TIME, Phrase, rule_phrases, rule_trigger
from modecheck.model.parts import Chip, Rule


@dataclass(frozen=True, slots=True)
class DrawnChoice:
    """A rule with branches, of which one at least leaves the state."""

    title: str
    branches: tuple[Rule, ...]

    @property
    def sources(self) -> tuple[str, ...]:
        return self.branches[0].sources

    @property
    def staying(self) -> tuple[Rule, ...]:
        """The branches that do not leave the state; they stand with the words before the choice."""
        return tuple(rule for rule in self.branches if rule.target is None)

    @property
    def targets(self) -> dict[str, tuple[Rule, ...]]:
        """The states that branches enter, in order, each with these branches."""
        found: dict[str, tuple[Rule, ...]] = {}
        for rule in self.branches:
            if rule.target is not None:
                found[rule.target] = (*found.get(rule.target, ()), rule)
        return found


def drawn_choices(chip: Chip) -> tuple[DrawnChoice, ...]:
    """The choices of a chip that are drawn as diamonds, in document order."""
    found: dict[str, list[Rule]] = {}
    for rule in chip.rules:
        if rule.branch is not None:
            found.setdefault(rule.whole, []).append(rule)
    return tuple(
        DrawnChoice(title, tuple(rules))
        for title, rules in found.items()
        if any(rule.target is not None for rule in rules)
    )


def before_choice(rule: Rule) -> tuple[Phrase, ...]:
    """What is common to all branches: the trigger, and the condition of the rule."""
    return tuple(_common(rule)) or (Phrase("trigger", AT_ANY_TIME),)


def of_branch(rule: Rule) -> tuple[Phrase, ...]:
    """What a branch says itself."""
    return rule_phrases(rule)[len(tuple(_common(rule))) :]


def _common(rule: Rule) -> Iterator[Phrase]:
    trigger = rule_trigger(rule)
    count = bool(trigger) + bool(rule.branch and rule.branch.given_text)
    yield from rule_phrases(rule)[:count]
