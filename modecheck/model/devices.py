"""Read a device file and everything it names, in one variant of its options.

The order matters: outlines of all chips first, since links, rules and modes read each other's
states and variables; then links; then rules; then what concerns the whole device.
"""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Mapping as MappingType
from dataclasses import dataclass, replace
from functools import partial
from itertools import product

from modecheck.model.activities import note_odd_activities
from modecheck.model.bond_pairs import PairingReader
from modecheck.model.chance_section import ChanceReader
from modecheck.model.chips import ChipDraft, ChipReader
from modecheck.model.clocks import note_odd_durations, read_clock
from modecheck.model.conditions import condition
from modecheck.model.each import copied, copies_of, named
from modecheck.model.errors import InputError, InvalidInput, Notebook
from modecheck.model.event_calls import Surroundings
from modecheck.model.faults import FaultReader, links_corrupted
from modecheck.model.finding_ids import note_unknown_findings
from modecheck.model.key_readers import KeyReader
from modecheck.model.keys import keys_of
from modecheck.model.laying import Laying
from modecheck.model.links import LinkReader
from modecheck.model.meaning import understand_items
from modecheck.model.outlines import is_empty
from modecheck.model.overlays import Watcher, overlay, read_document
from modecheck.model.parts import Chip, Device, Link, Mode, Option
from modecheck.model.phrases import Phrases
from modecheck.model.places import Place
from modecheck.model.remarks import notes_on
from modecheck.model.requirements import RequirementReader
from modecheck.model.rules import ChipWiring
from modecheck.model.scopes import DECIMAL, OptionValue, Scope, Typed, option_value
from modecheck.model.shapes import Shapes
from modecheck.model.shared_readers import read_constants, read_enumerations, read_signals
from modecheck.model.shared_values import SharedValues
from modecheck.model.signals import note_signal_cycle
from modecheck.model.starts import note_too_many_starts
from modecheck.model.syntax import parse_condition
from modecheck.model.unused import unused_declarations
from modecheck.model.verdicts import VerdictReader
from modecheck.model.yaml_nodes import MappingNode, Node, ScalarNode, shortened

TRUTHS = ("true", "false")
MOST_VARIANTS = 256
"""Combinations of options that are checked in one run."""


def read_device(
    path: str, chosen: MappingType[str, str] | None = None, *, over: str | None = None
) -> Device:
    """The device in the file at `path`; options not in `chosen` take their first value. The file
    `over` is laid over it, as if it were based on it.

    Raises `InvalidInput` with every error in the device file and the chip files that it names.
    """
    return _DeviceReader(path, dict(chosen or {}), over).read()


def variants(device: Device) -> Iterator[dict[str, str]]:
    """Every combination of the device's options, the first values first.

    Raises `InvalidInput` when there are more than `MOST_VARIANTS`.
    """
    options = list(device.options.values())
    count = 1
    for option in options:
        count *= len(option.choices)
    if count > MOST_VARIANTS:
        expected = f"at most {MOST_VARIANTS}: choose some with --option"
        message = f"the options of {device.file!r} have {count:,} combinations"
        raise InvalidInput([InputError(message, options[0].place, expected)])
    for choice in product(*(option.choices for option in options)):
        yield {option.name: value for option, value in zip(options, choice, strict=True)}


@dataclass(frozen=True, slots=True)
class _Wired:
    """What has been resolved before the rules are."""

    drafts: MappingType[str, ChipDraft]
    scope: Scope
    links: MappingType[str, Link]


class _DeviceReader:
    def __init__(self, path: str, chosen: dict[str, str], over: str | None) -> None:
        self._path = path
        self._over = over
        self._chosen = chosen
        self._notes = Notebook()
        self._shapes = Shapes(self._notes)
        self._phrases = Phrases(self._notes, {})
        self._list_places: dict[str, Place] = {}

    def read(self) -> Device:
        document = self._document()
        record = self._device_record(document) if document is not None else None
        self._notes.raise_if_any() if record is None else None
        assert record is not None
        self._note_no_chips(record)
        self._phrases.copies = copies_of(self._shapes, record)
        options = self._options(record)
        wired = self._wired(record, options)
        device = self._device(record, options, wired)
        note_odd_durations(device, self._notes)
        self._notes.raise_if_any()
        note_unknown_findings(device, self._notes)
        self._notes.raise_if_any()
        words = self._phrases.words.union(*(d.phrases.words for d in wired.drafts.values()))
        parameters = {
            name: (draft.phrases.parameters, draft.parameter_places)
            for name, draft in wired.drafts.items()
        }
        return replace(
            device, unused=unused_declarations(device, words, parameters, self._list_places)
        )

    def _document(self) -> MappingNode | None:
        document = read_document(self._path, self._notes, watching=self._observer)
        if self._over is None:
            return document
        over = read_document(self._over, self._notes, watching=self._observer)
        if document is None or over is None:
            return None
        return overlay(document, over, self._observer(document))

    def _observer(self, base: MappingNode) -> Watcher:
        return Laying(self._notes, base).observer()

    def _device_record(self, document: MappingNode) -> MappingNode | None:
        if "device" not in document.entries and {"chip", "actor"} & set(document.entries):
            message = f"{self._path!r} is a chip file"
            self._notes.add(
                message, document.place, expected="a device file, which names the chips"
            )
            return None
        return self._shapes.record(
            document, "a device file", keys_of("device"), required=("device", "chips")
        )

    def _note_no_chips(self, record: MappingNode) -> None:
        node = record.get("chips")
        if node is None or is_empty(node):
            place = record.keys["chips"].place
            self._notes.add("the device has no chips", place, expected="at least one chip")

    def _options(self, record: MappingNode) -> dict[str, Option]:
        options = {}
        for name, key, node in self._shapes.named(record.get("options"), "options"):
            scalars = self._shapes.scalars(node, "a choice", "a word, a number or true or false")
            choices = tuple(scalar.text for scalar in scalars)
            self._note_odd_choices(scalars)
            if not choices and (isinstance(node, ScalarNode) or is_empty(node)):
                message = f"the option {name!r} has no choices"
                self._notes.add(message, key.place, expected="a list of choices")
            if len(set(choices)) < len(choices):
                self._notes.add(
                    f"the option {name!r} has the same choice twice",
                    key.place,
                    expected="each once",
                )
            elif choices:
                options[name] = Option(name, choices, key.place)
        self._note_wrong_choices(options)
        return options

    def _note_odd_choices(self, scalars: list[ScalarNode]) -> None:
        """Choices are booleans, integers, or else words that an expression can name."""
        texts = [scalar.text for scalar in scalars]
        if not (all(map(TRUTHS.__contains__, texts)) or all(map(DECIMAL.fullmatch, texts))):
            for scalar in scalars:
                self._shapes.identifier(scalar, "a choice")

    def _note_wrong_choices(self, options: MappingType[str, Option]) -> None:
        for name, value in self._chosen.items():
            if name not in options:
                message = f"the device has no option {shortened(name)!r}"
                expected = "" if options else "no --option, since the device has none"
                self._notes.add(message, None, word=name, choices=options, expected=expected)
            elif value not in options[name].choices:
                message = f"the option {name!r} cannot be {shortened(value)!r}"
                self._notes.add(
                    message, options[name].place, word=value, choices=options[name].choices
                )

    def _variant(self, options: MappingType[str, Option]) -> dict[str, str]:
        chosen = {name: self._chosen.get(name, "") for name in options}
        return {
            name: value if value in options[name].choices else options[name].choices[0]
            for name, value in chosen.items()
        }

    def _wired(self, record: MappingNode, options: MappingType[str, Option]) -> _Wired:
        shared = SharedValues(
            read_constants(self._shapes, self._phrases, record.get("constants")),
            read_enumerations(self._shapes, self._phrases, record.get("enumerations")),
        )
        signals = read_signals(self._shapes, self._phrases, record.get("signals"), shared)
        shared = replace(shared, signals=signals)
        chip_reader = ChipReader(self._notes, self._path, shared)
        drafts, broken = self._drafts(record, chip_reader)
        broken |= _names_under(record.get("options")) - set(options)
        chosen = self._variant(options)
        values: dict[str, OptionValue] = {
            name: option_value(option.choices, chosen[name]) for name, option in options.items()
        }
        outlines = {name: draft.outline for name, draft in drafts.items()}
        scope = Scope(
            outlines,
            broken=frozenset(broken),
            options=values,
            copies=self._phrases.copies,
            shared=shared,
        )
        scope = replace(scope, lists=self._lists(record.get("lists"), scope))
        links = {}
        corrupting = links_corrupted(record.get("faults"))
        for entry in named(self._shapes, self._phrases, record.get("links"), "links"):
            reader = LinkReader(self._shapes, entry.phrases, entry.within(scope), corrupting)
            found = reader.links(entry.name, entry.key, entry.node)
            broken |= set() if found else {entry.name}
            for link in found:
                if link.broadcast and link.name in _names_under(record.get("links")):
                    called = f"what the broadcast {entry.name!r} is called on its way"
                    message = f"{link.name!r} is {called}"
                    self._notes.add(message, entry.key.place, expected="different names")
                links[link.name] = link
        self._chip_reader = chip_reader
        return _Wired(drafts, replace(scope, broken=frozenset(broken)), links)

    def _lists(self, node: Node | None, scope: Scope) -> dict[str, tuple[Typed, ...]]:
        """The named lists of conditions or numbers; one that cannot be read has no items."""
        lists = {}
        for name, key, child in self._shapes.named(node, "lists"):
            what = "a condition or a number"
            items: list[Typed] = []
            scalars = self._shapes.scalars(child, what, what)
            for scalar in scalars:
                tree = self._phrases.parse(scalar, parse_condition)
                if tree is not None:
                    items += (
                        self._phrases.attempt(scalar, partial(understand_items, tree, scope)) or ()
                    )
            if not scalars and (isinstance(child, ScalarNode) or is_empty(child)):
                self._notes.add(f"the list {name!r} has no items", key.place, expected=what)
            lists[name] = tuple(items)
            self._list_places[name] = key.place
        return lists

    def _drafts(
        self, record: MappingNode, reader: ChipReader
    ) -> tuple[dict[str, ChipDraft], set[str]]:
        drafts: dict[str, ChipDraft] = {}
        broken: set[str] = set()
        for section in ("chips", "actors"):
            for entry in copied(self._shapes, self._phrases, record.get(section), section):
                name = entry.name
                if name in drafts:
                    message = f"{name!r} is the name of both a chip and an actor"
                    self._notes.add(message, entry.key.place, expected="different names")
                    broken.add(name)
                    continue
                draft = reader.draft(entry, actor=section == "actors")
                if draft is None:
                    broken.add(name)
                else:
                    drafts[name] = draft
        return drafts, broken

    def _chips(self, wired: _Wired) -> dict[str, Chip]:
        signals = {
            s for draft in wired.drafts.values() for rule in draft.rules for s in rule.signals
        }
        wiring = ChipWiring(wired.links, frozenset(signals))
        return {
            name: self._chip_reader.finish(draft, wired.scope, wiring)
            for name, draft in wired.drafts.items()
        }

    def _device(self, record: MappingNode, options: dict[str, Option], wired: _Wired) -> Device:
        chips = self._chips(wired)
        note_signal_cycle(chips, self._notes)
        masked = {name: draft.reading.masked for name, draft in wired.drafts.items()}
        note_odd_activities(chips, masked, wired.scope.broken, self._shapes)
        modes = self._modes(record.get("modes"), wired.scope)
        scope = replace(
            wired.scope,
            conditions={name: mode.when for name, mode in modes.items()},
            steps=Surroundings(
                wired.links, chips, self._signals_of(chips), whole=not wired.scope.broken
            ),
            broken=wired.scope.broken | (_names_under(record.get("modes")) - set(modes)),
        )
        events = self._events(chips, wired)
        broken, copies = wired.scope.broken, self._phrases.copies
        verdicts = VerdictReader(self._shapes)
        name = self._shapes.scalar(record.entries["device"], "device", "the device's name")
        device = Device(
            name=name.text if name is not None else "",
            file=self._path,
            chips=chips,
            links=dict(wired.links),
            modes=modes,
            pairings=PairingReader(
                self._shapes,
                self._phrases,
                wired.scope,
                events,
                {name for name, chip in chips.items() if chip.actor},
            ).pairings(record.get("pairings")),
            faults=FaultReader(
                self._shapes, self._phrases, {*chips, *broken}, _called(wired.links, broken)
            ).faults(record.get("faults")),
            options=options,
            variant=self._variant(options),
            requirements=RequirementReader(self._shapes, self._phrases, scope, events).read(
                record.get("requirements")
            ),
            accepted=verdicts.accepted(record.get("accepted")),
            expected=verdicts.expected(record.get("expect")),
            place=record.keys["device"].place,
            digests=dict(self._notes.files),
            notes=notes_on(self._notes.additions),
            shared=wired.scope.shared,
            clock=read_clock(self._shapes, self._phrases, record.get("clock")),
            copies={name: copies.names(name) for name in copies.units},
            chances=ChanceReader(self._shapes, self._phrases, scope).read(record.get("chances")),
            **KeyReader(self._shapes, self._phrases).values(keys_of("device"), record),
        )
        note_too_many_starts(device, self._notes)
        return device

    def _events(self, chips: MappingType[str, Chip], wired: _Wired) -> set[str] | None:
        """Every signal and message, or None if a chip or a link could not be read."""
        if wired.scope.broken:
            return None
        messages = {message for link in wired.links.values() for message in link.carries}
        return messages | self._signals_of(chips)

    def _signals_of(self, chips: MappingType[str, Chip]) -> frozenset[str]:
        return frozenset(s for chip in chips.values() for rule in chip.rules for s in rule.signals)

    def _modes(self, node: Node | None, scope: Scope) -> dict[str, Mode]:
        modes = {}
        for name, key, child in self._shapes.named(node, "modes"):
            when = condition(self._shapes, self._phrases, scope, child)
            if when is not None and isinstance(child, ScalarNode):
                modes[name] = Mode(name, when, " ".join(child.text.split()), key.place)
        return modes


def _called(links: MappingType[str, Link], broken: frozenset[str]) -> dict[str, tuple[str, ...]]:
    """What links are called, and which ones a name stands for: all of a broadcast."""
    found: dict[str, tuple[str, ...]] = {name: (name,) for name in broken}
    for link in links.values():
        found[link.called] = (*found.get(link.called, ()), link.name)
    return found


def _names_under(node: Node | None) -> set[str]:
    """The names that a section declares, valid or not."""
    return set(node.entries) if isinstance(node, MappingNode) else set()
