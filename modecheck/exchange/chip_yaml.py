"""Write a drafted chip as a chip file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from modecheck.exchange.chip_draft import (
    DraftedBranch,
    DraftedChip,
    DraftedEffects,
    DraftedRule,
    DraftedState,
    DraftedVariable,
)
from modecheck.exchange.yaml_layout import Layout, Opened, Remarked, comment_lines, yaml_text
from modecheck.model.values import MOST_KEYS, ValueType


def chip_yaml(chip: DraftedChip) -> str:
    """The chip file of a chip, which ends with a newline."""
    head = "".join(f"{line}\n" for line in comment_lines(chip.comments))
    return head + yaml_text(_chip(chip))


def _chip(chip: DraftedChip) -> dict[str, Layout]:
    variables = {one.name: _variable(one) for one in chip.variables}
    timers: dict[str, Layout] = {name: _listed(text) for name, text in chip.timers.items()}
    return _given(
        {
            "actor" if chip.actor else "chip": chip.name,
            "about": chip.about,
            "fair": chip.fair,
            "concerns": _some(chip.concerns),
            "runs_on": chip.runs_on,
            "priority": chip.priority,
            "battery": chip.battery,
            "variables": Opened(variables) if variables else "",
            "timers": Opened(timers) if timers else "",
            "states": Opened({one.name: _state(one) for one in chip.states}),
            "initial": chip.initial,
            "rules": _rules(chip.rules),
            "discards": _some(chip.discards),
            "defers": _some(chip.defers),
        }
    )


def _given(keys: dict[str, Layout]) -> dict[str, Layout]:
    """The keys that say something: 0 is the default of every number here."""
    return {key: value for key, value in keys.items() if value is True or value not in ("", 0, ())}


def _some(words: Sequence[str]) -> Layout:
    """One word alone, or a list."""
    return words[0] if len(words) == 1 else tuple(words)


def _listed(interval: str) -> Layout:
    """A duration, or with `[2 ms, 5 ms]` both of its ends."""
    if interval.startswith("["):
        return [one.strip() for one in interval.strip("[]").split(",")]
    return interval


def _remarked(value: Layout, comments: Iterable[str]) -> Layout:
    found = tuple(comments)
    return Remarked(value, found) if found else value


def _variable(one: DraftedVariable) -> Layout:
    keys = _type_keys(one.type)
    if one.length:
        keys["list"] = one.length
    first = (one.type.first,) * max(one.length, 1)
    if one.start != first:
        values: list[Layout] = [_spelled(one.type, value) for value in one.start]
        keys["start"] = values[0] if len(set(one.start)) == 1 else values
    if one.persistent:
        keys["persistent"] = True
    return _remarked("bool" if keys == {"bool": True} else keys, one.comments)


def _type_keys(type_: ValueType) -> dict[str, Layout]:
    if type_.kind == "truth":
        return {"bool": True}
    if type_.kind == "word":
        return {"one_of": list(type_.words)}
    if type_.kind == "bond":
        return {"bond": True if type_.high == MOST_KEYS else type_.high}
    return {"range": [type_.low, type_.high]}


def _spelled(type_: ValueType, value: int) -> Layout:
    if type_.kind == "truth":
        return bool(value)
    return type_.spell(value) if type_.kind == "word" else value


def _state(state: DraftedState) -> Layout:
    inside: dict[str, Layout] = {one.name: _state(one) for one in state.states}
    keys = _given(
        {
            "about": state.about,
            "concerns": _some(state.concerns),
            "masks": _some(state.masks),
            "current": state.current,
            "discards": _some(state.discards),
            "defers": _some(state.defers),
            "initial": state.initial,
            "states": Opened(inside) if inside else "",
        }
    )
    if state.rest is not None:
        keys = {"rest": state.rest, **keys}
    return _remarked(keys, state.comments)


def _rules(rules: Sequence[DraftedRule]) -> Layout:
    """A mapping if every rule has a name of its own, else a list."""
    if not rules:
        return ""
    names = [rule.name for rule in rules]
    if all(names) and len(set(names)) == len(names):
        return Opened({rule.name: _remarked(_rule(rule), rule.comments) for rule in rules})
    named = (({"name": rule.name} if rule.name else {}) | _rule(rule) for rule in rules)
    return [_remarked(keys, rule.comments) for keys, rule in zip(named, rules, strict=True)]


def _rule(rule: DraftedRule) -> dict[str, Layout]:
    waits = {rule.waits[0]: _listed(rule.waits[1])} if rule.waits else {}
    start: dict[str, Layout] = {"in": _some(rule.sources), "on": _some(rule.on), **waits}
    branches: Layout = [_branch(one) for one in rule.branches]
    return _given(
        {
            **start,
            "priority": rule.priority,
            "if": rule.condition,
            "choose": branches or "",
            **_effects(rule.effects),
            "steps": "separate" if rule.separate else "",
            "text": rule.text,
            "fair": rule.fair,
            "concerns": _some(rule.concerns),
            "weight": rule.weight,
        }
    )


def _branch(branch: DraftedBranch) -> dict[str, Layout]:
    otherwise: dict[str, Layout] = {"else": True} if not branch.condition else {}
    return _given(
        {
            "name": branch.name,
            "if": branch.condition,
            **otherwise,
            **_effects(branch.effects),
            "text": branch.text,
        }
    )


def _effects(effects: DraftedEffects) -> dict[str, Layout]:
    return {
        "do": _some(effects.do),
        "send": _some(effects.send),
        "signal": _some(effects.signal),
        "start": _some(effects.start),
        "stop": _some(effects.stop),
        "to": effects.to,
    }
