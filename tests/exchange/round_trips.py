"""Chips that were written as SCXML and read again, in their devices, beside what they were.

Two chips are the same if everything that the model knows of them is: names, values, what rules wait
for, ask for and do, in which order they are tried, and what is said of them. Places and the texts
of expressions are not compared, their meaning is.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from modecheck.exchange.chip_yaml import chip_yaml
from modecheck.exchange.scxml_reading import ReadChart, read_scxml
from modecheck.exchange.scxml_writing import scxml_of
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.terms import InState, Operation, ReadVariable, Term
from modecheck.product.rule_order import condition_of, rules_at
from tests.cli.running import MODELS


@cache
def bundled() -> dict[str, Device]:
    """All bundled devices, by their path below the folder of models."""
    found = {}
    for path in sorted(MODELS.rglob("*.yaml")):
        try:
            found[str(path.relative_to(MODELS))] = read_device(str(path))
        except InvalidInput:
            continue  # a chip file, or a file to be laid over a device
    return found


def kinds_of_chips() -> dict[tuple[str, str], None]:
    """Every chip of the bundled devices that is not one of several copies: path and name. Chips
    that are the same but for their device's name occur once.
    """
    seen: set[object] = set()
    found = {}
    for path, device in bundled().items():
        copies = {name for names in device.copies.values() for name in names}
        for name, chip in device.chips.items():
            key = (name, repr(meaning(chip)))
            if name not in copies and key not in seen:
                seen.add(key)
                found[path, name] = None
    return found


def written_and_read(device: Device, chip: str, folder: Path) -> tuple[Device, ReadChart]:
    """The device with the chip as it was read from its SCXML, in files of a folder."""
    (folder / "chip.scxml").write_text(scxml_of(device, chip).text, encoding="utf-8")
    read = read_scxml(str(folder / "chip.scxml"))
    return with_chip(device, chip, chip_yaml(read.chip), folder), read


def with_chip(device: Device, chip: str, text: str, folder: Path) -> Device:
    """A device in which a chip is described by this text."""
    section = "actors" if device.chips[chip].actor else "chips"
    (folder / "chip.yaml").write_text(text, encoding="utf-8")
    base = Path(device.file).resolve()
    (folder / "without.yaml").write_text(f"based_on: {base}\n{section}: {{{chip}: null}}\n")
    named = f"based_on: without.yaml\n{section}: {{{chip}: {{file: chip.yaml}}}}\n"
    (folder / "device.yaml").write_text(named)
    return read_device(str(folder / "device.yaml"), device.variant)


def meaning(chip: Chip) -> dict[str, Any]:
    """All that is known of a chip, as plain data."""
    states = {
        name: replace(one, place=chip.place, leaves=tuple(sorted(one.leaves)))
        for name, one in chip.states.items()
    }
    return {
        "states": states,
        "initial": chip.initial,
        "variables": {n: replace(one, place=chip.place) for n, one in chip.variables.items()},
        "timers": {n: (one.duration.low, one.duration.high) for n, one in chip.timers.items()},
        "rules": {one.title: rule_meaning(one) for one in chip.rules},
        "order": {leaf: [one.title for one in rules_at(chip, leaf)] for leaf in chip.leaves},
        "replies": {
            (state, str(one.event), one.manner)
            for state, replies in chip.replies.items()
            for one in replies
        },
        "said": (chip.actor, chip.about, chip.fair, chip.concerns, chip.battery),
        "activity": (chip.runs_on, chip.priority),
    }


def rule_meaning(rule: Rule) -> tuple[object, ...]:
    """All that is known of a rule, but for its place."""
    time = rule.after and (rule.after.low, rule.after.high)
    condition = condition_of(rule)
    return (
        set(rule.sources),
        set(map(str, rule.trigger)),
        (time, rule.periodic, rule.expires, rule.starts, rule.stops),
        condition and plain(condition),
        [
            {
                (one.variable, one.index and plain(one.index), plain(value))
                for one, value in zip(each.targets, each.values, strict=True)
            }
            for each in rule.assignments
        ],
        [(one.message, one.link, one.value and plain(one.value)) for one in rule.sends],
        (rule.signals, rule.target, rule.separate, rule.phrase, rule.fair),
        (rule.concerns, rule.weight),
    )


def plain(term: Term) -> Term:
    """A term with conjunctions inside each other as one, and tests for states of one chip as one."""
    if isinstance(term, ReadVariable) and term.index is not None:
        return replace(term, index=plain(term.index))
    if not isinstance(term, Operation):
        return term
    parts = [plain(one) for one in term.arguments]
    if term.operator not in ("and", "or"):
        return replace(term, arguments=tuple(parts))
    flat: list[Term] = []
    for one in parts:
        same = isinstance(one, Operation) and one.operator == term.operator
        flat += one.arguments if same and isinstance(one, Operation) else (one,)
    if term.operator == "or":
        flat = _states_together(flat)
    return flat[0] if len(flat) == 1 else replace(term, arguments=tuple(flat))


def _states_together(parts: list[Term]) -> list[Term]:
    found: list[Term] = []
    for one in parts:
        before = found[-1] if found else None
        both = isinstance(one, InState) and isinstance(before, InState)
        if both and one.chip == before.chip:  # type: ignore[union-attr]
            found[-1] = InState(one.chip, one.leaves | before.leaves)  # type: ignore[union-attr]
        else:
            found.append(one)
    return found
