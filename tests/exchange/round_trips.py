"""Chips that were written as SCXML and read again, in their devices, beside what they were.

Two chips are the same if everything that the model knows of them is: names, values, what rules wait
for, ask for and do, in which order they are tried, and what is said of them. Places and the texts
of expressions are not compared, their meaning is.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from modecheck.exchange.chip_yaml import chip_yaml
from modecheck.exchange.scxml_reading import ReadChart, read_scxml
from modecheck.exchange.scxml_writing import scxml_of
from modecheck.model.devices import read_device
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.places import Place, Source
from modecheck.model.terms import Constant, InState, Operation, ReadVariable, Term, parts_of
from modecheck.product.rule_order import condition_of, rules_at
from tests.cli.running import MODELS
from tests.models.bundled import SEVERAL_STARTS


def bundled() -> list[str]:
    """The files of all bundled devices, below the folder of models, the faulty ones last."""
    paths = sorted(MODELS.rglob("*.yaml"), key=lambda path: ("faulty" in path.parts, path))
    texts = {str(path.relative_to(MODELS)): path.read_text(encoding="utf-8") for path in paths}
    heads = re.compile(r"^(device|based_on):", re.MULTILINE)
    wanted = (path for path, text in texts.items() if heads.search(text))
    return [path for path in wanted if "surround" not in path and not _starts_in_many(path)]


def _starts_in_many(path: str) -> bool:
    return Path(path).stem in SEVERAL_STARTS


@cache
def device_at(path: str) -> Device:
    """A bundled device."""
    return read_device(str(MODELS / path))


@cache
def kinds_of_chips() -> dict[tuple[str, str], None]:
    """Every chip of the bundled devices that is not one of several copies: path and name. Chips
    that are the same but for their device's name occur once.
    """
    seen: set[object] = set()
    found: dict[tuple[str, str], None] = {}
    for path in bundled():
        device = device_at(path)
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


NOWHERE = Place(Source("", ()), 1, 1)


def meaning(chip: Chip) -> dict[str, Any]:
    """All that is known of a chip, as plain data."""
    states = {name: replace(one, place=NOWHERE) for name, one in chip.states.items()}
    return {
        "states": states,
        "initial": chip.initial,
        "variables": {n: replace(one, place=NOWHERE) for n, one in chip.variables.items()},
        "timers": {n: (one.duration.low, one.duration.high) for n, one in chip.timers.items()},
        "rules": {one.title: rule_meaning(one, chip) for one in chip.rules},
        "order": {leaf: [one.title for one in rules_at(chip, leaf)] for leaf in chip.leaves},
        "replies": {
            (state, str(one.event), one.manner)
            for state, replies in chip.replies.items()
            for one in replies
        },
        "said": (chip.actor, chip.about, chip.fair, chip.concerns, chip.battery),
        "activity": (chip.runs_on, chip.priority),
    }


def rule_meaning(rule: Rule, chip: Chip) -> tuple[object, ...]:
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
                (one.variable, one.index and plain(one.index), done(value, rule, chip))
                for one, value in zip(each.targets, each.values, strict=True)
            }
            for each in rule.assignments
        ],
        [(one.message, one.link, one.value and done(one.value, rule, chip)) for one in rule.sends],
        [(one.signal, one.value and done(one.value, rule, chip)) for one in rule.signalled],
        (rule.target, rule.separate, rule.phrase, rule.fair),
        (rule.concerns, rule.weight),
    )


def done(value: Term, rule: Rule, chip: Chip) -> Term:
    """A value that is assigned or sent, where the states of the rule say in which the chip is."""
    if isinstance(value, InState) and value.chip == chip.name and rule.target is not None:
        decided = {holds_in(value, chip, source) for source in rule.sources or ("",)}
        only = decided.pop()
        return value if decided or only is None else Constant(int(only))
    if isinstance(value, Operation):
        parts = tuple(done(one, rule, chip) for one in value.arguments)
        return plain(replace(value, arguments=parts))
    return plain(value)


def holds_in(test: InState, chip: Chip, source: str) -> bool | None:
    """Whether the chip is in one of the states of a test while it is in another; None: perhaps."""
    leaves = set(chip.states[source].leaves if source else chip.leaves)
    return None if leaves & test.leaves and leaves - test.leaves else leaves <= test.leaves


def splits(chip: Chip) -> bool:
    """Whether an export writes a rule of several states as one that does not do the same in each:
    SCXML has left the state by the time it assigns.
    """
    return any(
        len({holds_in(part, chip, source) for source in rule.sources or ("",)}) > 1
        for rule in chip.rules
        if rule.target is not None
        for value in [
            *(value for one in rule.assignments for value in one.values),
            *(send.value for send in rule.sends if send.value is not None),
        ]
        for part in parts_of(value)
        if isinstance(part, InState) and part.chip == chip.name
    )


def plain(term: Term) -> Term:
    """A term with nested conjunctions as one, and tests for states of one chip as one."""
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
