"""Rules of single states as the rules of a chip: each once, in one order that suits every state.

An export writes a rule of several states into each of them, and each branch of a rule as a rule of
its own. By their titles they find together again, unless somebody has changed one of them since.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from modecheck.exchange.chip_draft import NO_EFFECTS, DraftedBranch, DraftedRule


@dataclass(frozen=True, slots=True)
class TitledRule:
    """A rule of one state, with the title that an export gave it, or nothing."""

    title: str
    rule: DraftedRule


def branches_together(rules: Sequence[TitledRule]) -> list[TitledRule]:
    """The rules of one state, in order; branches side by side are one rule with `choose`."""
    found: list[TitledRule] = []
    group: list[TitledRule] = []
    for one in (*rules, None):
        if group and (one is None or not _same_choice(group[-1], one)):
            found.append(_chosen(group))
            group = []
        if one is not None and "." in one.title:
            group.append(one)
        elif one is not None:
            found.append(one)
    return found


def _same_choice(before: TitledRule, one: TitledRule) -> bool:
    whole = before.title.partition(".")[0]
    same = (before.rule.on, before.rule.waits) == (one.rule.on, one.rule.waits)
    return "." in one.title and one.title.partition(".")[0] == whole and same


def _chosen(group: Sequence[TitledRule]) -> TitledRule:
    """One rule of its branches. What all of them ask for is the condition of the rule."""
    given = group[-1].rule.condition if group[-1].title.endswith(".else") else ""
    conditions = [_without(one.rule.condition, given) for one in group]
    if None in conditions:
        given, conditions = "", [one.rule.condition for one in group]
    branches = tuple(
        DraftedBranch(condition or "", one.rule.effects, _name(one.title), one.rule.text)
        for one, condition in zip(group, conditions, strict=True)
    )
    first = group[0].rule
    rule = replace(first, condition=given, branches=branches, effects=NO_EFFECTS, text="")
    return TitledRule(group[0].title.partition(".")[0], rule)


def _without(condition: str, given: str) -> str | None:
    """A condition without that of the rule, None if it does not begin with it."""
    if not given or condition == given:
        return "" if given else condition
    for begin in (f"{given} and ", f"({given}) and "):
        if condition.startswith(begin):
            return condition.removeprefix(begin)
    return None


def _name(title: str) -> str:
    name = title.partition(".")[2]
    return "" if name.isdecimal() or name == "else" else name


def in_one_order(states: Sequence[Sequence[TitledRule]]) -> tuple[DraftedRule, ...]:
    """The rules of all states, those that are equal but for their state as one. If no order suits
    every state, each stays for itself.
    """
    merged: dict[tuple[str, DraftedRule], list[str]] = {}
    keys = [[_key(one, n) for n, one in enumerate(rules)] for rules in states]
    for rules, own in zip(states, keys, strict=True):
        for one, key in zip(rules, own, strict=True):
            merged.setdefault(key, []).extend(one.rule.sources)
    ordered = _sorted(list(merged), keys)
    if ordered is None:
        alone = [one.rule for rules in states for one in rules]
        return tuple(_renamed(alone))
    found = [replace(key[1], sources=_sources(key[0], merged[key])) for key in ordered]
    return tuple(_renamed(found))


def _key(one: TitledRule, number: int) -> tuple[str, DraftedRule]:
    """Equal for rules that are one; a rule without a title is one for itself."""
    if one.title and one.rule.sources:
        return one.title, replace(one.rule, sources=())
    sources = one.rule.sources or ("",)
    return f"\n{sources[0]}\n{number}", one.rule


def _sources(title: str, sources: Sequence[str]) -> tuple[str, ...]:
    """The title of a rule without a name begins with its first state."""
    first = title.partition(":")[0]
    return tuple(sorted(sources, key=lambda one: one != first))


_Key = tuple[str, DraftedRule]


def _sorted(keys: list[_Key], states: Sequence[Sequence[_Key]]) -> list[_Key] | None:
    """An order in which the rules of each state stand as they do there, as near to the order of
    first appearance as it can be; None if there is none.
    """
    numbers = {key: number for number, key in enumerate(keys)}
    after: dict[_Key, list[_Key]] = {key: [] for key in keys}
    waiting = dict.fromkeys(keys, 0)
    for own in states:
        for before, one in pairwise(own):
            after[before].append(one)
            waiting[one] += 1
    ready = [numbers[key] for key, count in waiting.items() if not count]
    ordered: list[_Key] = []
    heapq.heapify(ready)
    while ready:
        key = keys[heapq.heappop(ready)]
        ordered.append(key)
        for one in after[key]:
            waiting[one] -= 1
            if not waiting[one]:
                heapq.heappush(ready, numbers[one])
    return ordered if len(ordered) == len(keys) else None


def _renamed(rules: Sequence[DraftedRule]) -> list[DraftedRule]:
    """No two rules have one name: a later one gets that of its state as well, or a number."""
    taken: set[str] = set()
    found = []
    for rule in rules:
        name, number = rule.name, 1
        while name and name in taken:
            number += 1
            name = "_".join([rule.name, *rule.sources[:1], *([str(number)] if number > 2 else [])])
        taken.add(name)
        found.append(replace(rule, name=name))
    return found
