"""Which value a message or a signal carries: another one of its type, or that of a variable."""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.model.values import ValueType
from modecheck.repair.changes import RepairChange, Value
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenRule

CARRIED = "carried values"
MOST_VALUES = 4
"""Values of a type that are tried."""
WITH_VALUE = re.compile(r"\s*([^\W\d]\w*)\((.*)\)(\s+via\s.*)?\s*")
"""A text such as `picture(foot) via cord`, or `level(2)`."""


def value_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Each rule that sends or signals something with another value."""
    for _, rule in at.rules():
        for key, verb in (("send", "sends"), ("signal", "signals")):
            now = rule.words(key)
            for number, text in enumerate(now):
                for other in with_other_values(at, rule, text):
                    changed: list[Value] = [*now[:number], other, *now[number + 1 :]]
                    words = f"{rule.name} {verb} {other}, not {text}"
                    yield at.change_rule(CARRIED, rule, {key: changed}, words, rank=0.4)


def with_other_values(at: RepairSituation, rule: WrittenRule, text: str) -> Iterator[str]:
    """The text with each other value: what came, variables of the chip, and numbers or words."""
    found = WITH_VALUE.fullmatch(text)
    kind = _type_of(at, rule, found[1]) if found else None
    if found is None or kind is None:
        return
    came = ["value"] if "on" in rule.data else []
    variables = at.chip_of(rule).variables.values()
    held = [v.name for v in variables if not v.length and _alike(v.type, kind)]
    for value in dict.fromkeys([*came, *held, *spelled_values(kind)]):
        if value != found[2].strip():
            yield f"{found[1]}({value}){found[3] or ''}"


def _type_of(at: RepairSituation, rule: WrittenRule, name: str) -> ValueType | None:
    """What a signal or a message of a rule's chip carries."""
    names = {chip.name for chip in at.chips_of(rule.chip)}
    for link in at.device.links.values():
        if link.sender in names and name in link.carries:
            return link.carries[name].type
    return at.device.shared.signal_type(name)


def _alike(one: ValueType, other: ValueType) -> bool:
    return one.kind == other.kind and one.words == other.words


def spelled_values(kind: ValueType) -> list[str]:
    """The first values of a type, as they are written."""
    if kind.kind == "truth":
        return ["false", "true"]
    return [kind.spell(one) for one in range(kind.low, min(kind.high + 1, kind.low + MOST_VALUES))]
