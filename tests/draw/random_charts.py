"""Random chips with nested states and many rules: pictures that nobody arranged."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import Any

import yaml

from modecheck.model.parts import Chip
from tests.draw.making import device_of

SIGNALS = ("hello", "usb_plugged", "bus_idle", "go_to_sleep_now")
GUARDS = ("x == 1", "x < 2 and y != 3 and not (x == 0 or y == 0)")
EFFECTS = ("x = 1", "y = min(x + 1, 3)", "x, y = y, x")
WORDS = "says what it is for, in a sentence that goes on for quite a while"


def random_chip(folder: Path, seed: int, *, choices: bool = False) -> Chip:
    """The chip with this number, perhaps with rules that choose: the same on every machine."""
    dice = Random(seed)  # noqa: S311 - no secret depends on it
    names: list[str] = []
    chip: dict[str, Any] = {
        "about": WORDS if dice.random() < 0.5 else "",
        "variables": {"x": {"range": [0, 3]}, "y": {"range": [0, 3]}},
        "states": _states(dice, names, 0),
    }
    chip["rules"] = [_rule(dice, names) for _ in range(dice.randint(1, 3 * len(names)))]
    if choices:
        chip["rules"][::3] = [_choosing(dice, names, rule) for rule in chip["rules"][::3]]
    chip["discards"] = {dice.choice(names): [dice.choice(SIGNALS)]}
    somebody = {"states": ["there"], "rules": [{"signal": signal} for signal in SIGNALS]}
    device = {"device": "random", "chips": {"hub": chip}, "actors": {"somebody": somebody}}
    return device_of(folder, yaml.safe_dump(device, sort_keys=False)).chips["hub"]


def _states(dice: Random, names: list[str], depth: int) -> dict[str, Any]:
    states: dict[str, Any] = {}
    for _ in range(dice.randint(1, 4)):
        name = f"s{len(names)}{'_longer' * dice.randint(0, 2)}"
        names.append(name)
        states[name] = {"rest": True} if dice.random() < 0.3 else {}
        if depth < 2 and dice.random() < 0.3:
            states[name]["states"] = _states(dice, names, depth + 1)
    return states


def _choosing(dice: Random, names: list[str], rule: dict[str, Any]) -> dict[str, Any]:
    """The rule with branches in place of what it does."""
    branches: list[dict[str, Any]] = [{"if": one, "to": dice.choice(names)} for one in GUARDS]
    branches.append({"else": True, "do": dice.choice(EFFECTS)})
    kept = {key: value for key, value in rule.items() if key not in ("do", "to")}
    return {**kept, "choose": branches[dice.randint(0, 1) :]}


def _rule(dice: Random, names: list[str]) -> dict[str, Any]:
    rule: dict[str, Any] = {"if": dice.choice(GUARDS)} if dice.random() < 0.5 else {}
    if dice.random() < 0.9:
        rule["in"] = dice.sample(names, dice.choice((1, 1, 1, min(2, len(names)))))
    if dice.random() < 0.7:
        rule["on"] = dice.sample(SIGNALS, dice.randint(1, 2))
    elif dice.random() < 0.5:
        rule["after"] = "20 ms"
    if dice.random() < 0.6:
        rule["do"] = dice.sample(EFFECTS, dice.randint(1, 3))
    does_nothing = not rule.keys() & {"on", "after", "do"}
    if dice.random() < 0.8 or does_nothing:
        rule["to"] = dice.choice(names)
    return rule
