"""What candidates are made from: a device, how it is written, and what its scenarios show."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from modecheck.checks.findings import Finding
from modecheck.model.copies import unnumbered
from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.terms import InState, ReadVariable, parts_of
from modecheck.repair.changes import Data, Matters, RepairChange, Value, difference_of
from modecheck.repair.scenario_facts import ScenarioFacts, TakenMoment
from modecheck.repair.written import WrittenChip, WrittenDevice, WrittenRule

AFTER_TAKING = frozenset({"to", "do", "send", "signal", "start", "stop", "steps"})
"""Keys of a rule that make no difference before it is taken."""
WHEN_TAKEN = frozenset({"if", "in"})
"""Keys that say where a rule can be taken."""
AWAITED = frozenset({"on", "expires", "choose"})
"""Keys of rules of which only one is taken."""
ABOUT_WAITING = ("livelock", "unending-switch", "endless-switch", "unrecoverable-pairing")
FALLBACK = "100 ms"
"""The duration of a new timer in a device that has none to take as an example."""


@dataclass
class RepairSituation:
    """A device with findings that are to go, and what their scenarios show."""

    device: Device
    written: WrittenDevice
    findings: Sequence[Finding]

    @cached_property
    def shown(self) -> ScenarioFacts:
        shown = ScenarioFacts(self.written)
        for finding in self.findings:
            if finding.trace is not None:
                shown.follow(finding)
        shown.moments.sort(key=lambda one: one.before_end)
        return shown

    @property
    def moments(self) -> list[TakenMoment]:
        return self.shown.moments

    @property
    def ends(self) -> list[dict[str, str]]:
        return self.shown.ends

    @cached_property
    def named(self) -> set[str]:
        """The chips that the findings are about, by their own names."""
        found: set[str] = set()
        for finding in self.findings:
            words = set(finding.subject.replace("+", ".").split("."))
            found |= words & set(self.device.chips)
            need = self.device.requirements.get(finding.subject)
            for term in need.terms if need is not None else ():
                for part in parts_of(term):
                    if isinstance(part, InState | ReadVariable):
                        found.add(part.chip)
        return found

    @cached_property
    def waiting(self) -> dict[str, set[str]]:
        """For each chip the states in which it stands at the end of a scenario, if it is one that
        does not rest there, or that a finding is about.
        """
        found: dict[str, set[str]] = {}
        for name, chip in self.device.chips.items():
            leaves = {end[name] for end in self.ends if name in end}
            leaves |= {
                leaf
                for finding in self.findings
                for leaf in chip.leaves
                if f"{name}.{leaf}" in finding.subject
            }
            kept = {x for x in leaves if not chip.states[x].rest or name in self.named}
            if kept and not chip.actor:
                found[name] = kept
        return found

    @cached_property
    def stuck(self) -> set[tuple[str, str]]:
        """Chips with the states in which they wait in vain, as findings name them or scenarios end,
        if these are about waiting.
        """
        subjects = " ".join(one.subject for one in self.findings)
        found = {
            (name, leaf)
            for name, chip in self.device.chips.items()
            for leaf in chip.leaves
            if re.search(rf"(^|[+ ]){re.escape(name)}\.{leaf}([+. ]|$)", subjects)
        }
        if any(map(self._is_about_waiting, self.findings)):
            found |= {(name, leaf) for name, leaves in self.waiting.items() for leaf in leaves}
        return found

    def _is_about_waiting(self, finding: Finding) -> bool:
        if finding.trace is None or finding.trace.loop_from or finding.code in ABOUT_WAITING:
            return True
        need = self.device.requirements.get(finding.subject)
        return need is not None and need.pattern == "recoverable"

    def comes_to(self, rule: WrittenRule, leaves: Iterable[str]) -> bool:
        """Whether an event of a rule comes to its chip in one of these states."""
        events = {event.name for one in self.model_rules(rule) for event in one.trigger}
        names = [chip.name for chip in self.chips_of(rule.chip)]
        return any((n, x, e) in self.shown.heard for n in names for x in leaves for e in events)

    @cached_property
    def distance(self) -> dict[tuple[str, str], int]:
        """For each rule in a scenario, as (chip entry, name), how near the end it is taken."""
        found: dict[tuple[str, str], int] = {}
        for moment in self.moments:
            where = self.written.rule(moment.rule)
            if where is not None:
                found.setdefault((where.chip, where.name), moment.before_end)
        return found

    def moments_of(self, rule: WrittenRule) -> list[TakenMoment]:
        """When the scenarios take a rule, the last time first."""
        return [one for one in self.moments if self.written.rule(one.rule) is rule]

    def chips_of(self, entry: str) -> list[Chip]:
        """The chips of one entry: one, or its copies."""
        return [
            chip for name, chip in self.device.chips.items() if entry in (name, unnumbered(name))
        ]

    def chip_of(self, rule: WrittenRule) -> Chip:
        """The chip of a rule, or one of the copies."""
        return self.chips_of(rule.chip)[0]

    def model_rules(self, rule: WrittenRule) -> list[Rule]:
        """What a written rule means: several rules where it is written for copies or branches."""
        chip = self.chip_of(rule)
        return [one for one in chip.rules if self.written.rule(one) is rule]

    @cached_property
    def entries(self) -> list[WrittenChip]:
        """The chips that can be changed, no actors: people do what they do."""
        return [
            one
            for one in self.written.chips.values()
            if one.section == "chips" and self.chips_of(one.name)
        ]

    def rules(self) -> Iterator[tuple[WrittenChip, WrittenRule]]:
        """Every rule of a chip."""
        for chip in self.entries:
            for rule in chip.rules:
                yield chip, rule

    def durations(self, chip: str) -> list[str]:
        """Durations that a new timer of a chip may have: those of its own timers first, then those
        of others, the most frequent first.
        """
        own = Counter(self._durations_in(chip))
        rest = Counter(text for other in self.written.chips for text in self._durations_in(other))
        ordered = [text for text, _ in own.most_common()] + [text for text, _ in rest.most_common()]
        return list(dict.fromkeys(ordered)) or [FALLBACK]

    def _durations_in(self, chip: str) -> Iterator[str]:
        for rule in self.written.chips[chip].rules:
            after = rule.data.get("after", rule.data.get("period"))
            if isinstance(after, str):
                yield after

    def on_rule(self, rule: WrittenRule, keys: Data, *, all_alike: bool = True) -> Data:
        """A file that writes these keys of a rule, in every chip that is written alike."""
        return self.written.on_chip(rule.chip, rule.path, keys, all_alike=all_alike)

    def change_rule(
        self, family: str, rule: WrittenRule, keys: Data, sentence: str, *,
        rank: float = 0.0, all_alike: bool = True, fewer: bool = False,
    ) -> RepairChange:  # fmt: skip
        """A change of some keys of one rule; the sentence is about what `rule` does. With `fewer`
        it can only be taken where it could be before.
        """
        chips = self.written.alike(rule.chip) if all_alike else [rule.chip]
        return RepairChange(
            family,
            f"{' and '.join(chips)}: {sentence}",
            self.on_rule(rule, keys, all_alike=all_alike),
            frozenset((chip, rule.name) for chip in chips),
            rank=rank + 0.2 * self.distance.get((rule.chip, rule.name), 20),
            matters=Matters.WHERE_USED if fewer else _matters(rule, keys),
            differs=sum(difference_of(rule.data.get(key), new) for key, new in keys.items()),
        )

    def new_rule(
        self, family: str, chip: WrittenChip, data: Data, sentence: str, *,
        rank: float = 0.0, all_alike: bool = True,
    ) -> RepairChange:  # fmt: skip
        """A rule that the chip does not have yet."""
        chips = self.written.alike(chip.name) if all_alike else [chip.name]
        name = self._new_name(chip, data)
        path = ("rules", name)
        timers = int("after" in data or "period" in data)
        near = 0.0 if chip.name in {unnumbered(one) for one in self.waiting} else 2.0
        return RepairChange(
            family,
            f"{' and '.join(chips)}: {sentence}",
            self.written.on_chip(
                chip.name, path, {**data, "text": told(data)}, all_alike=all_alike
            ),
            frozenset((one, name) for one in chips),
            timers,
            rank + near,
            Matters.ANYWHERE if "on" in data else Matters.MORE_STEPS,
        )

    def _new_name(self, chip: WrittenChip, data: Data) -> str:
        """Rules for different events have different names, so that two of them can be one pair."""
        stem = "added"
        if "on" in data:
            words = f"{data['on']} in {data['in']}" if "in" in data else f"on {data['on']}"
            stem = re.sub(r"\W+", "_", words).strip("_")
        names = {rule.name for rule in chip.rules}
        return next(n for n in (stem, *(f"{stem}_{k}" for k in range(2, 99))) if n not in names)


def _matters(rule: WrittenRule, keys: Data) -> Matters:
    """Where it makes a difference that a rule has other keys. Rules for one event or one timer
    stand in the way of each other.
    """
    if AFTER_TAKING.issuperset(keys):
        return Matters.WHERE_USED
    alone = WHEN_TAKEN.union(AFTER_TAKING).issuperset(keys)
    return Matters.OTHER_STEPS if alone and not AWAITED & set(rule.data) else Matters.ANYWHERE


def told(data: Data) -> str:
    """What a new rule does, as its `text`."""
    parts = []
    if "after" in data:
        parts.append(f"does not wait longer than {data['after']}")
    if "do" in data:
        parts.append(f"sets {listed(data['do'])}")
    if "send" in data:
        parts.append(f"sends {listed(data['send'])}")
    return " and ".join(parts) or "takes notice"


def listed(value: Value) -> str:
    """A value or a list of values in words."""
    items = value if isinstance(value, list) else [value]
    return ", ".join(str(one) for one in items)
