"""Read pairings: which two bonds belong together, and when they are connected."""

from __future__ import annotations

from collections.abc import Collection

from modecheck.model.conditions import names_in
from modecheck.model.copies import known_value
from modecheck.model.copy_names import filled_in
from modecheck.model.each import named
from modecheck.model.errors import nearest_name
from modecheck.model.key_readers import KeyReader
from modecheck.model.keys import keys_of
from modecheck.model.parts import Pairing, PairingEnd
from modecheck.model.phrases import Phrases
from modecheck.model.scopes import ChipOutline, Scope
from modecheck.model.shapes import Shapes
from modecheck.model.syntax import Name, parse_condition
from modecheck.model.variables import Variable
from modecheck.model.yaml_nodes import Node, ScalarNode, shortened


class PairingReader:
    """Reads the section `pairings`; `events` are the signals and messages of the device, or None
    if some are not known, `actors` those who may have to help.
    """

    def __init__(
        self,
        shapes: Shapes,
        phrases: Phrases,
        scope: Scope,
        events: Collection[str] | None,
        actors: Collection[str],
    ) -> None:
        self._shapes = shapes
        self._phrases = phrases
        self._scope = scope
        self._events = events
        self._actors = actors

    def pairings(self, node: Node | None) -> dict[str, Pairing]:
        """Every valid pairing, by its name."""
        pairings = {}
        for entry in named(self._shapes, self._phrases, node, "pairings"):
            name, key, phrases = entry.name, entry.key, entry.phrases
            what, known = f"the pairing {name!r}", keys_of("pairing")
            record = self._shapes.record(entry.node, what, known, required=("ends",))
            within = entry.within(self._scope)
            ends = (
                self._ends(record.entries["ends"], within, phrases) if record is not None else None
            )
            if record is None or ends is None:
                continue
            forgetting = names_in(
                self._shapes,
                record.get("forgotten_by"),
                "event",
                self._events,
                empty="a signal or message",
                phrases=phrases,
            )
            values = KeyReader(self._shapes, phrases, within).values(known, record)
            helpers = names_in(
                self._shapes,
                record.get("recovers_without"),
                "actor",
                None if self._scope.broken else self._actors,
                empty="an actor",
                phrases=phrases,
            )
            pairings[name] = Pairing(
                name, ends, forgetting, key.place, recovers_without=helpers, **values
            )
        return pairings

    def _ends(
        self, node: Node, scope: Scope, phrases: Phrases
    ) -> tuple[PairingEnd, PairingEnd] | None:
        scalars = self._shapes.scalars(node, "an end", "chip.variable")
        ends = [end for scalar in scalars if (end := self._end(scalar, scope, phrases)) is not None]
        if len(scalars) != 2:
            message = f"a pairing with {len(scalars)} end{'' if len(scalars) == 1 else 's'}"
            self._shapes.notes.add(
                message, node.place, expected="two ends, [chip.variable, chip.variable]"
            )
            return None
        if len(ends) == 2 and ends[0] == ends[1]:
            message = f"both ends are {ends[0]}"
            self._shapes.notes.add(message, scalars[1].place, expected="the bonds of two chips")
        return (ends[0], ends[1]) if len(ends) == 2 else None

    def _end(self, scalar: ScalarNode, scope: Scope, phrases: Phrases) -> PairingEnd | None:
        name = self._name(scalar, scope, phrases)
        if name is None:
            return None
        chip, variable = name.parts[0], ".".join(name.parts[1:])
        if chip in scope.broken or (chip in scope.chips and variable in scope.chips[chip].broken):
            return None
        if chip not in scope.chips:
            message = f"unknown chip {shortened(chip)!r}"
            self._shapes.notes.add(message, scalar.place, word=chip, choices=scope.chips)
            return None
        found = scope.chips[chip].variables.get(variable)
        if found is None or found.type.kind != "bond" or (name.index and not found.length):
            self._note_no_bond(scalar, scope.chips[chip], variable)
            return None
        if not found.length:
            return PairingEnd(chip, variable)
        item = self._item(name, scalar, found, phrases)
        return None if item is None else PairingEnd(chip, variable, item)

    def _name(self, scalar: ScalarNode, scope: Scope, phrases: Phrases) -> Name | None:
        tree = phrases.parse(scalar, parse_condition)
        if tree is None:
            return None
        name = phrases.attempt(scalar, lambda: filled_in(tree, scope))
        if name is not None and not isinstance(name, Name):
            message = f"{shortened(scalar.text)!r} is not a bond"
            self._shapes.notes.add(message, scalar.place, expected="chip.variable")
        return name if isinstance(name, Name) else None

    def _note_no_bond(self, scalar: ScalarNode, chip: ChipOutline, variable: str) -> None:
        bonds = [one.name for one in chip.variables.values() if one.type.kind == "bond"]
        near = nearest_name(variable, bonds)
        expected = f"a variable of {chip.name} with 'bond: true'"
        message = f"{shortened(scalar.text)!r} is not a bond"
        such = f", such as {near}" if near else ""
        self._shapes.notes.add(message, scalar.place, expected=expected + such)

    def _item(
        self, name: Name, scalar: ScalarNode, bonds: Variable, phrases: Phrases
    ) -> int | None:
        """Which one of a list of bonds it is."""
        index = name.index
        message = f"{shortened(scalar.text)!r} is a list of bonds"
        if index is not None:
            item = phrases.attempt(scalar, lambda: known_value(index, phrases.parameters))
            if item is None or 0 <= item < bonds.length:
                return item
            message = f"{name.text} has no item {item}"
        expected = f"an index from 0 to {bonds.length - 1}"
        self._shapes.notes.add(message, scalar.place, expected=expected)
        return None
