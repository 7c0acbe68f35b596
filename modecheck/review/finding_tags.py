"""Which concerns a finding is about: those of the parts that it names and of the part at its place.

A state contributes the concerns of the rules that leave it (for which a deadlock there waits), a
chip by itself those of all its rules, a requirement or a mode those of all parts that it names.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.findings import Finding
from modecheck.compare.described import WORDING, parts_of_device
from modecheck.compare.forms import Form, PartName
from modecheck.compare.part_concerns import concerns_of, names_in
from modecheck.compare.renamings import Parts
from modecheck.model.parts import Device
from modecheck.review.names import CHAIN, INNER, OUTER


def said_by(parts: Parts, name: PartName) -> Form:
    """Everything that a part declares, without wording for people."""
    facets = parts[name].facets
    return tuple(facet.form for key, facet in facets.items() if key not in WORDING)


class FindingTags:
    """The concerns of the findings of one device."""

    def __init__(self, device: Device) -> None:
        self._device = device
        self._parts = parts_of_device(device)

    def of(self, finding: Finding) -> frozenset[str]:
        """The concerns that the finding is about."""
        at_its_place = (name for name, part in self._parts.items() if part.place == finding.place)
        names = {*self._named(finding.subject), *at_its_place}
        return frozenset().union(*map(self._concerns_of, names))

    def _named(self, subject: str) -> Iterator[PartName]:
        """The parts that a subject names; for a chain of names, the innermost known part."""
        for chain in CHAIN.findall(subject):
            words = chain.split(".")
            inner = [
                name
                for word in words[1:]
                for name in self._parts
                if name.name == word and name.kind in INNER and self._stands_in(name, words[0])
            ]
            yield from inner or (PartName(kind, words[0]) for kind in OUTER)

    def _stands_in(self, name: PartName, around: str) -> bool:
        """Whether a part belongs to this chip or link, or is a message of a link to or from it."""
        link = self._device.links.get(name.scope)
        ends = () if link is None else (link.sender, link.receiver)
        return around in (name.scope, *ends)

    def _concerns_of(self, name: PartName) -> frozenset[str]:
        if name not in self._parts:
            return frozenset()
        found = concerns_of(self._device, name, said_by(self._parts, name))
        if name.kind in ("requirement", "mode"):
            spoken_of = names_in(said_by(self._parts, name)) - {name}
            return found.union(*map(self._tags_spoken_of, spoken_of))
        return found.union(*map(self._concerns_of, self._rules_of(name)))

    def _tags_spoken_of(self, name: PartName) -> frozenset[str]:
        """The concerns of a part that a requirement names; a chip stands for what is in it."""
        if name.kind == "chip":
            return frozenset(self._device.chips[name.name].concerns)
        return self._concerns_of(name) if name.kind != "requirement" else frozenset()

    def _rules_of(self, name: PartName) -> Iterator[PartName]:
        """The rules that leave a state, or all rules of a chip."""
        if name.kind not in ("state", "chip"):
            return
        chip = self._device.chips[name.scope or name.name]
        inside = set(chip.ancestry(name.name)) if name.kind == "state" else set()
        for rule in chip.rules:
            if name.kind == "chip" or inside & set(rule.sources):
                yield PartName("rule", rule.title, chip.name)
