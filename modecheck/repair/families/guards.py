"""When a rule may be taken: its guard without a part, with one more, or with a word exchanged."""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.model.copies import unnumbered
from modecheck.model.parts import Chip
from modecheck.model.variables import Variable
from modecheck.repair.changes import RepairChange
from modecheck.repair.scenario_facts import TakenMoment
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip, WrittenRule

GUARD = "guards"
EXCHANGES = (
    (" or ", " and "), (" and ", " or "), ("any(", "all("), ("all(", "any("), ("==", "!="),
    ("!=", "=="), (">=", ">"), ("<=", "<"), (" > ", " >= "), (" < ", " <= "),
)  # fmt: skip
FARTHEST = 12
"""Steps before the end of a scenario at which a rule's guard is made of what else held."""


def guard_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Every other guard that the text or the scenarios suggest."""
    for chip, rule in at.rules():
        if "choose" in rule.data:
            continue
        guard = str(rule.data.get("if", "") or "").strip()
        if guard:
            yield from _rewritten(at, rule, guard)
        yield from _stronger(at, chip, rule, guard)


def _rewritten(at: RepairSituation, rule: WrittenRule, guard: str) -> Iterator[RepairChange]:
    """The guard is left out, a part of it is, or a word in it is exchanged."""
    name = rule.name
    yield at.change_rule(GUARD, rule, {"if": None}, f"{name} is taken without asking", rank=0.6)
    for part, left in without_a_part(guard):
        words = f"{name} is taken whether or not {part}"
        yield at.change_rule(GUARD, rule, {"if": left}, words, rank=0.5)
    for old, new in EXCHANGES:
        if old in guard:
            changed = guard.replace(old, new)
            words = f"{name} is taken if {changed}"
            yield at.change_rule(GUARD, rule, {"if": changed}, words, rank=0.3)
    negated = _negated(guard)
    words = f"{name} is taken if {negated}"
    yield at.change_rule(GUARD, rule, {"if": negated}, words, rank=0.8)


def without_a_part(guard: str) -> Iterator[tuple[str, str]]:
    """Each part of a conjunction, and what is left without it."""
    for parts, glue in ((_split(guard, " and "), " and "), (_split(guard, " or "), " or ")):
        for number, part in enumerate(parts if len(parts) > 1 else []):
            yield part, glue.join(parts[:number] + parts[number + 1 :])


def _split(text: str, glue: str) -> list[str]:
    """The parts of a text at its outermost level of parentheses; one part where `or` binds."""
    if glue == " and " and len(_split(text, " or ")) > 1:
        return [text]
    parts, depth, start = [], 0, 0
    for number, letter in enumerate(text):
        depth += {"(": 1, ")": -1}.get(letter, 0)
        if depth == 0 and text.startswith(glue, number):
            parts.append(text[start:number])
            start = number + len(glue)
    return [*parts, text[start:]]


def _stronger(
    at: RepairSituation, chip: WrittenChip, rule: WrittenRule, guard: str
) -> Iterator[RepairChange]:
    """One more condition: what the receiver needs, or what was otherwise in a bad scenario."""
    base = f"({guard})" if " or " in guard else guard
    for rank, condition, copied in _conditions(at, chip, rule):
        if condition in guard:
            continue
        both = f"{base} and {condition}" if base else condition
        words = f"{rule.name} is taken only if {condition}"
        yield at.change_rule(
            GUARD, rule, {"if": both}, words, rank=rank, all_alike=copied, fewer=True
        )


def _conditions(
    at: RepairSituation, chip: WrittenChip, rule: WrittenRule
) -> Iterator[tuple[float, str, bool]]:
    """Conditions with how promising they are, and whether they suit all chips of one file."""
    model = at.chip_of(rule)
    yield from ((0.1, text, False) for text in _hearers(at, rule))
    yield from ((0.1, text, True) for text in _negations_of_siblings(chip, rule))
    for text in _about_the_message(at, model, rule):
        yield 0.1, text, True
    moments = [one for one in at.moments_of(rule) if one.before_end <= FARTHEST]
    for moment in moments[:2]:
        yield from ((0.4, text, True) for text in _own_values(model, moment))
        yield from ((0.6, text, False) for text in _others(at, model, moment))


def _hearers(at: RepairSituation, rule: WrittenRule) -> Iterator[str]:
    """That who hears the rule's signal is in a state in which it does something about it."""
    own = {chip.name for chip in at.chips_of(rule.chip)}
    for signal in rule.words("signal"):
        for chip in at.device.chips.values():
            if chip.name in own:
                continue
            hearing = [one for one in chip.rules if any(e.name == signal for e in one.trigger)]
            sources = dict.fromkeys(state for one in hearing for state in one.sources)
            if sources and len(sources) < len(chip.leaves):
                states = [f"{chip.name}.{state}" for state in sources]
                yield states[0] if len(states) == 1 else f"({' or '.join(states)})"


def _negations_of_siblings(chip: WrittenChip, rule: WrittenRule) -> Iterator[str]:
    """That no rule that leads to where this one begins could be taken again at once; or the guard
    of a sibling with the values of this one.
    """
    for other in chip.rules:
        guard = other.data.get("if")
        if other is rule or not isinstance(guard, str):
            continue
        if other.data.get("to") in rule.words("in") and rule.words("in"):
            yield _negated(guard)
        yield guard


def _negated(guard: str) -> str:
    found = re.fullmatch(r"not ([\w.\[\]]+)", guard)
    if found:
        return found[1]
    return f"not {guard}" if re.fullmatch(r"[\w.\[\]]+", guard) else f"not ({guard})"


def _about_the_message(at: RepairSituation, model: Chip, rule: WrittenRule) -> Iterator[str]:
    """That the message carries the value of one of the chip's variables, or was sent lately."""
    triggers = {event.name for one in at.model_rules(rule) for event in one.trigger}
    links = [one for one in at.device.links.values() if one.receiver == model.name]
    carried = [one.carries[name] for one in links for name in triggers & set(one.carries)]
    for message in carried[:1]:
        yield "not late"
        for variable in model.variables.values():
            if message.type is not None and _same_kind(variable, message.type.words):
                yield f"value == {variable.name}"
                yield f"value != {variable.name}"
        if message.type is not None and message.type.kind == "truth":
            yield from ("value", "not value")


def _same_kind(variable: Variable, words: tuple[str, ...]) -> bool:
    return variable.type.words == words and not variable.length


def _own_values(model: Chip, moment: TakenMoment) -> Iterator[str]:
    """That a variable of the chip has another value than in the scenario."""
    for variable in model.variables.values():
        value = moment.values.get((model.name, variable.name))
        if value is None or variable.length:
            continue
        kind = variable.type
        if kind.kind == "truth":
            yield variable.name if value in ("0", "false") else f"not {variable.name}"
        else:
            yield f"{variable.name} != {value}"
            others = [kind.spell(one) for one in range(kind.low, min(kind.high, kind.low + 3) + 1)]
            yield from (f"{variable.name} == {one}" for one in others if one != value)


def _others(at: RepairSituation, model: Chip, moment: TakenMoment) -> Iterator[str]:
    """That another chip is in another state than in the scenario, or a variable of it is."""
    for name, leaf in moment.states.items():
        if name == model.name or at.device.chips[name].name != unnumbered(name):
            continue
        yield f"not {name}.{leaf}"
        leaves = at.device.chips[name].leaves
        yield from (f"{name}.{other}" for other in leaves if other != leaf and len(leaves) < 5)
    for (name, variable), value in moment.values.items():
        if name == model.name or variable not in at.device.chips[name].variables:
            continue
        kind = at.device.chips[name].variables[variable].type
        if kind.kind == "truth":
            yield f"{'' if value in ('0', 'false') else 'not '}{name}.{variable}"
        else:
            yield f"{name}.{variable} != {value}"
