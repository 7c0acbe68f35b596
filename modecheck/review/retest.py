"""What to retest and recertify after a change, and what is proven untouched.

Concerns come first (`concerns.py`), then the steps of the bench test that take what changed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from modecheck.compare.behaviour import Behaviour
from modecheck.compare.described import parts_of_device
from modecheck.compare.forms import PartName
from modecheck.compare.part_concerns import names_in
from modecheck.compare.refinement import Equivalence
from modecheck.compare.renamings import Parts
from modecheck.compare.text_changes import ADDED, CHANGED, MOVED, Change, TextChanges
from modecheck.engine.contract.space import Limits
from modecheck.model.parts import Device
from modecheck.product.ir import Product
from modecheck.review.concerns import Concern, Concerns, TaggedFindings
from modecheck.review.finding_tags import said_by
from modecheck.tours.settled_tour import bench_test
from modecheck.tours.sittings import SITTING


@dataclass(frozen=True, slots=True)
class BenchStepTaken:
    """A step of the bench test, with its number there, and the touched rules that it takes. The
    `start` of a sequence, which takes rules at power on, is not counted as a step.
    """

    sequence: int
    step: int
    do: str
    rules: tuple[str, ...]
    start: bool = False


@dataclass(frozen=True, slots=True)
class RetestPlan:
    """The part of the new device's bench test (as made by `modecheck tours`) that takes touched
    rules: those that changed, and those that use something that changed. `never` are the touched
    rules that it does not take; `stopped_by` is why the bench test is incomplete, or empty.
    """

    steps: tuple[BenchStepTaken, ...] = ()
    of: int = 0
    never: tuple[str, ...] = ()
    stopped_by: str = ""


@dataclass(frozen=True, slots=True)
class Retest:
    """Everything to retest."""

    concerns: tuple[Concern, ...]
    bench: RetestPlan
    durations: tuple[Change, ...] = ()
    """Changed durations, which no behaviour compares."""
    untagged: tuple[str, ...] = ()
    """New findings that belong to no concern."""


def retest(
    old: Device,
    new: Product,
    text: TextChanges,
    behaviours: Sequence[Behaviour],
    findings: TaggedFindings,
    equivalence: Equivalence,
    limits: Limits | None = None,
) -> Retest:
    """What to retest for two devices whose text, findings and behaviour have been compared."""
    concerns = Concerns(old, new.device, text, behaviours, findings, equivalence)
    return Retest(
        tuple(concerns.all()),
        _bench(new, touched_rules(new.device, text), limits),
        concerns.durations,
        findings.untagged,
    )


def touched_rules(new: Device, text: TextChanges) -> frozenset[str]:
    """Rules of the new device, as "chip.rule", that changed or use something that changed."""
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


def _uses(parts: Parts, rule: PartName, changed: set[PartName]) -> bool:
    """Whether it names a link, a message, a signal or a variable that changed."""
    used = names_in(said_by(parts, rule))
    kinds = ("link", "message", "signal", "variable", "timer")
    return any(
        (name in changed and name.kind in kinds)
        or (name.kind == "message" and name.around in changed)
        for name in used
    )


def _bench(product: Product, touched: frozenset[str], limits: Limits | None) -> RetestPlan:
    if not touched:
        return RetestPlan()
    test = bench_test(product, limits=limits, sitting=SITTING)
    steps = tuple(
        BenchStepTaken(sequence, number, step.do, taken, start=number == one.first)
        for sequence, one in enumerate(test.sequences, start=1)
        for number, step in enumerate(one.steps, start=one.first)
        if (taken := tuple(sorted(touched & set(step.takes))))
    )
    never = touched.difference(*(step.rules for step in steps))
    return RetestPlan(steps, test.steps, tuple(sorted(never)), test.stopped_by)
