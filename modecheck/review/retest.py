"""What a change asks to be tested and certified again, and what is proven untouched.

For each tag it is told which changed parts bear it, and in which looks that speak for it the
devices behave otherwise. What nobody knows, since an exploration was stopped, is never called
untouched; nor is a tag for which no look speaks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

from modecheck.compare.behaviour import Behaviour, Outcome
from modecheck.compare.described import WORDING, parts_of_device
from modecheck.compare.forms import Form, Name
from modecheck.compare.renamings import Parts
from modecheck.compare.tags import in_order, names_in, own_tags, tags_of, tags_of_link
from modecheck.compare.text_changes import ADDED, CHANGED, MOVED, REMOVED, Change, TextChanges
from modecheck.engine.space import Limits
from modecheck.model.parts import Device
from modecheck.product.form import Product
from modecheck.tours.bench import bench_test
from modecheck.tours.sittings import SITTING


class Standing(Enum):
    """What is known of a concern."""

    TOUCHED = "touched"
    SAME_BEHAVIOUR = "changed in the text, behaves the same"
    UNTOUCHED = "untouched"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Concern:
    """A tag: the changes of parts that bear it, and the behaviours that speak for it."""

    tag: str
    standing: Standing
    changes: tuple[Change, ...]
    behaviours: tuple[Behaviour, ...]


@dataclass(frozen=True, slots=True)
class BenchStepTaken:
    """A step of the bench test, as it is counted there, and the touched rules that it takes."""

    sequence: int
    step: int
    do: str
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Bench:
    """What of the new device's bench test (as `modecheck tours` makes it) takes rules that were
    touched: those that changed, and those that use something that changed. `never` are those that
    it does not take; `stopped_by` tells that it is not whole.
    """

    steps: tuple[BenchStepTaken, ...] = ()
    of: int = 0
    never: tuple[str, ...] = ()
    stopped_by: str = ""


@dataclass(frozen=True, slots=True)
class Retest:
    """All of it."""

    concerns: tuple[Concern, ...]
    bench: Bench


def retest(
    old: Device,
    new: Product,
    text: TextChanges,
    behaviours: Sequence[Behaviour],
    limits: Limits | None = None,
) -> Retest:
    """The list for two devices of which the text and the behaviour are compared already."""
    concerns = _Concerns(old, new.device, text, behaviours)
    return Retest(tuple(concerns.all()), _bench(new, touched_rules(new.device, text), limits))


class _Concerns:
    def __init__(
        self, old: Device, new: Device, text: TextChanges, behaviours: Sequence[Behaviour]
    ) -> None:
        self._devices = (old, new)
        self._parts = tuple(map(parts_of_device, self._devices))
        self._behaviours = behaviours
        self._changes = [
            (change, self._tags(change))
            for change in text.of_kind(ADDED, REMOVED, CHANGED, MOVED)
            if not change.wording_only
        ]

    def _tags(self, change: Change) -> frozenset[str]:
        """The tags of a part before and after."""
        found: frozenset[str] = frozenset()
        sides = zip(self._devices, self._parts, (change.old, change.new), strict=True)
        for device, parts, name in sides:
            if name is not None:
                found |= tags_of(device, name, said_by(parts, name))
                whole = change.what in (ADDED, REMOVED)
                inside = [one for one in parts if whole and one.around == name]
                found = found.union(*(tags_of(device, o, said_by(parts, o)) for o in inside))
        return found

    def all(self) -> Iterator[Concern]:
        known = {tag for device in self._devices for tag in _tags_in(device)}
        known |= {tag for _, tags in self._changes for tag in tags}
        return map(self._concern, in_order(known))

    def _concern(self, tag: str) -> Concern:
        changes = tuple(change for change, tags in self._changes if tag in tags)
        speaking = tuple(one for one in self._behaviours if tag in one.look.tags)
        return Concern(tag, _standing(changes, speaking), changes, speaking)


def _standing(changes: Sequence[Change], speaking: Sequence[Behaviour]) -> Standing:
    outcomes = {one.outcome for one in speaking}
    if Outcome.DIFFERENT in outcomes or (changes and not speaking):
        return Standing.TOUCHED
    if Outcome.UNKNOWN in outcomes or not speaking:
        return Standing.UNKNOWN
    return Standing.SAME_BEHAVIOUR if changes else Standing.UNTOUCHED


def _tags_in(device: Device) -> Iterator[str]:
    for link in device.links.values():
        yield from tags_of_link(link)
    for chip in device.chips.values():
        yield from chip.tags
        for state in chip.states.values():
            yield from state.tags
        for rule in chip.rules:
            yield from own_tags(chip, rule)


def said_by(parts: Parts, name: Name) -> Form:
    """All that a part says that is not for people only."""
    facets = parts[name].facets
    return tuple(facet.form for key, facet in facets.items() if key not in WORDING)


def touched_rules(new: Device, text: TextChanges) -> frozenset[str]:
    """Rules of the new device, as "chip.rule", that changed or that use what has changed."""
    changed = {
        change.new: change.what
        for change in text.of_kind(ADDED, CHANGED, MOVED)
        if change.new is not None and not change.wording_only
    }
    added = {name for name, what in changed.items() if what == ADDED}
    parts = parts_of_device(new)
    return frozenset(
        str(name)
        for name in parts
        if name.kind == "rule"
        and (name in changed or name.around in added or _uses(parts, name, set(changed)))
    )


def _uses(parts: Parts, rule: Name, changed: set[Name]) -> bool:
    """Whether it names a link, a message, a signal or a variable that changed."""
    used = names_in(said_by(parts, rule))
    kinds = ("link", "message", "signal", "variable", "timer")
    return any(
        (name in changed and name.kind in kinds)
        or (name.kind == "message" and name.around in changed)
        for name in used
    )


def _bench(product: Product, touched: frozenset[str], limits: Limits | None) -> Bench:
    if not touched:
        return Bench()
    test = bench_test(product, limits=limits, sitting=SITTING)
    steps = tuple(
        BenchStepTaken(sequence, number, step.do, taken)
        for sequence, one in enumerate(test.sequences, start=1)
        for number, step in enumerate(one.steps, start=one.first)
        if (taken := tuple(sorted(touched & set(step.takes))))
    )
    never = touched.difference(*(step.rules for step in steps))
    return Bench(steps, test.steps, tuple(sorted(never)), test.stopped_by)
