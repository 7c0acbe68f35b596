"""What a rule writes: one assignment more, one less, in another order, or in one piece."""

from __future__ import annotations

import re
from collections.abc import Iterator

from modecheck.model.parts import Chip
from modecheck.model.variables import Variable
from modecheck.repair.changes import RepairChange, Value
from modecheck.repair.situation import RepairSituation
from modecheck.repair.written import WrittenChip, WrittenRule

WRITE = "writes"
MOST_VALUES = 4
"""Values of a variable that are tried."""


def write_changes(at: RepairSituation) -> Iterator[RepairChange]:
    """Every other list of assignments next to the one that is written."""
    for chip, rule in at.rules():
        if "choose" in rule.data:
            continue
        now = rule.words("do")
        yield from _reordered(at, rule, now)
        yield from _fewer(at, rule, now)
        yield from _otherwise(at, chip, rule, now)
        yield from _more(at, chip, rule, now)
        if rule.data.get("steps") == "separate":
            words = f"{rule.name} writes all at once"
            yield at.change_rule(WRITE, rule, {"steps": None}, words, rank=1.5)


def _reordered(at: RepairSituation, rule: WrittenRule, now: list[str]) -> Iterator[RepairChange]:
    for number in range(len(now) - 1):
        order: list[Value] = [*now]
        order[number], order[number + 1] = now[number + 1], now[number]
        words = f"{rule.name} does {now[number + 1]} before {now[number]}"
        rank = 0.0 if rule.data.get("steps") == "separate" else 1.0
        yield at.change_rule(WRITE, rule, {"do": order}, words, rank=rank)


def _fewer(at: RepairSituation, rule: WrittenRule, now: list[str]) -> Iterator[RepairChange]:
    for text in now:
        left: Value = [one for one in now if one != text] or None
        words = f"{rule.name} does not do {text}"
        yield at.change_rule(WRITE, rule, {"do": left}, words, rank=0.8)


def _more(
    at: RepairSituation, chip: WrittenChip, rule: WrittenRule, now: list[str]
) -> Iterator[RepairChange]:
    """A variable gets what comes with the event, a value that another rule gives it, its first
    value, or any other; or one more or less, or the other one.
    """
    model = at.chip_of(rule)
    known = [text for other in chip.rules for text in other.words("do")]
    wanted = _variables_of_interest(at, model)
    came = [f"{variable} = value" for variable in _of_what_comes(at, model, rule)]
    texts = dict.fromkeys([*came, *known, *_values(model), *_from_its_value(model, known)])
    for text in texts:
        target = _target(text)
        if target in map(_target, now) or "," in target:
            continue
        rank = 0.2 if text in known or text in came else 0.4
        rank += 0.0 if target in wanted else 0.6
        written: Value = [*now, text]
        words = f"{rule.name} also does {text}"
        yield at.change_rule(WRITE, rule, {"do": written}, words, rank=rank)
        if now and rule.data.get("steps") == "separate":
            first: Value = [text, *now]
            yield at.change_rule(WRITE, rule, {"do": first}, f"{words} first", rank=rank)


def _of_what_comes(at: RepairSituation, model: Chip, rule: WrittenRule) -> Iterator[str]:
    """The variables of the type that the rule's event carries."""
    events = {event.name for one in at.model_rules(rule) for event in one.trigger}
    links = [one for one in at.device.links.values() if one.receiver == model.name]
    types = [one.carries[name].type for one in links for name in events & set(one.carries)]
    types += [at.device.shared.signal_type(name) for name in sorted(events)]
    carried = {(one.kind, one.words) for one in types if one is not None}
    for variable in model.variables.values():
        if not variable.length and (variable.type.kind, variable.type.words) in carried:
            yield variable.name


def _otherwise(
    at: RepairSituation, chip: WrittenChip, rule: WrittenRule, now: list[str]
) -> Iterator[RepairChange]:
    """A variable gets the value that came with the event, that another rule gives it, or any."""
    model = at.chip_of(rule)
    known = [text for other in chip.rules for text in other.words("do")]
    for number, text in enumerate(now):
        target = _target(text)
        if target not in model.variables or model.variables[target].length:
            continue
        came = [f"{target} = value"] if "on" in rule.data else []
        others = [one for one in (*known, *_values(model)) if _target(one) == target]
        for other in dict.fromkeys([*came, *others]):
            if other != text:
                rank = 0.2 if other in came else 0.4 if other in known else 0.6
                changed: list[Value] = [*now[:number], other, *now[number + 1 :]]
                words = f"{rule.name} does {other}, not {text}"
                yield at.change_rule(WRITE, rule, {"do": changed}, words, rank=rank)


def _target(text: str) -> str:
    """What an assignment writes, as `x` of `x += 1`."""
    return re.split(r"\s*[-+*]?=", text, maxsplit=1)[0].strip()


def _values(model: Chip) -> Iterator[str]:
    """Every variable set to each of its values, its first value first."""
    for variable in model.variables.values():
        if not variable.length:
            yield from (f"{variable.name} = {value}" for value in spelled_values(variable))


def _from_its_value(model: Chip, known: list[str]) -> Iterator[str]:
    """A variable that no rule writes is set to the other of its two values; a number that others
    only count down is counted up, and the other way round.
    """
    for variable in model.variables.values():
        name, kind = variable.name, variable.type
        if variable.length or kind.kind not in ("truth", "number"):
            continue
        written = [text for text in known if _target(text) == name]
        if kind.kind == "number" and kind.high > kind.low + 1:
            if all(text in (f"{name} -= 1", f"{name} = {name} - 1") for text in written):
                yield f"{name} += 1"
            if all(text in (f"{name} += 1", f"{name} = {name} + 1") for text in written):
                yield f"{name} -= 1"
        elif not written:
            other = f"{kind.low + kind.high} - {name}"
            yield f"{name} = not {name}" if kind.kind == "truth" else f"{name} = {other}"


def spelled_values(variable: Variable) -> list[str]:
    """The values that a variable can have, as they are written, its first one first."""
    kind = variable.type
    values = [variable.start[0], *range(kind.low, min(kind.high, kind.low + MOST_VALUES) + 1)]
    words = ("false", "true")
    spelled = [words[v] if kind.kind == "truth" else kind.spell(v) for v in values]
    return list(dict.fromkeys(spelled))


def _variables_of_interest(at: RepairSituation, model: Chip) -> set[str]:
    """The ends of pairings that findings are about, and what broken requirements read."""
    subjects = {one.subject for one in at.findings}
    ends = {
        end.variable
        for pairing in at.device.pairings.values()
        if pairing.name in subjects
        for end in pairing.ends
        if end.chip == model.name
    }
    return ends | (set(model.variables) if model.name in at.named else set())
