"""Faults with a budget each, so that every state tells how often each of them has struck.

A model gives budgets to groups, or lets a link lose whatever it likes. Here each fault of one chip
or link has a budget of its own, so that all sets of faults are explored at once. What is fair stays
as the model says: a link that may lose without a bound is fair-lossy, however few losses are
counted here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from modecheck.model.parts import Device, FaultGroup
from modecheck.model.places import Place
from modecheck.model.wording import listed
from modecheck.product.composition import compose
from modecheck.product.expression_ir import ApplyIR, ConstantIR, Read
from modecheck.product.ir import FaultIR, Product

Counts = tuple[int, ...]
"""How often each fault strikes: a multiset of faults, in the order of `CountedFaults.names`."""


@dataclass(frozen=True, slots=True)
class CountedFault:
    """A fault of one chip or link. `kind` and `target` as in `FaultGroup`."""

    kind: str
    target: str

    @property
    def name(self) -> str:
        return f"{self.kind}({self.target})"


@dataclass(frozen=True, slots=True)
class CountedFaults:
    """The faults that a device declares, each with a budget of `most`, and `in_all` of them
    together. `device` is the one to explore, `declared` the one whose budgets are its own.
    """

    declared: Device
    device: Device
    faults: tuple[CountedFault, ...]
    most: int
    in_all: int

    def budgets(self, product: Product) -> list[int]:
        """The fields of a product of the device that hold how often each fault still may strike."""
        return [fault.budget for fault in _each_once(product)]

    def labels(self, product: Product) -> list[frozenset[int]]:
        """The labels of all steps in which each fault strikes."""
        return [frozenset({one.label, *one.cut_labels.values()}) for one in _each_once(product)]

    def told(self, counts: Counts) -> str:
        """A set of faults in words, such as "power_cut(hub) ×2 and lose(air)"."""
        struck = [
            fault.name + (f" ×{count}" if count > 1 else "")
            for fault, count in zip(self.faults, counts, strict=True)
            if count
        ]
        return listed(struck) if struck else "no fault"

    def is_allowed(self, counts: Counts) -> bool:
        """Whether the budgets that the device declares allow for so many."""
        groups = self.declared.faults
        named = {(group.kind, target) for group in groups for target in group.targets}
        # What a link does by nature is declared with the link, and has no budget.
        struck = [
            fault
            for fault, count in zip(self.faults, counts, strict=True)
            if (fault.kind, fault.target) in named
            for _ in range(count)
        ]
        budgets = (len(struck) if group.at_most is None else group.at_most for group in groups)
        return _fits(struck, self.declared, tuple(budgets))


def counted_faults(device: Device, most: int, in_all: int) -> CountedFaults:
    """Each fault that a device declares counted up to `most`, and up to `in_all` together."""
    rows: dict[CountedFault, int | None] = {}
    product = compose(device)
    for one in product.faults:
        fault = CountedFault(one.kind, _target(product, one))
        row = one.in_a_row if one.row >= 0 else None
        known = rows.get(fault, row)
        rows[fault] = None if known is None or row is None else max(known, row)
    endless = {_target(product, f) for f in product.faults if _is_endless(f)}
    groups = tuple(
        FaultGroup(fault.kind, (fault.target,), most, _place(device, fault), row)
        for fault, row in rows.items()
    )
    links = {
        name: replace(link, fair=link.fair or ("strong" if name in endless else ""))
        for name, link in device.links.items()
    }
    bound = in_all if in_all < most * len(rows) else None
    counted = replace(device, faults=groups, links=links, faults_in_all=bound)
    return CountedFaults(device, counted, tuple(rows), most, min(in_all, most * len(rows)))


def spent(fault: int, times: int) -> str:
    """The condition that a fault (number) has struck more often than so many times."""
    return f"spent:{fault}:{times}"


def with_spent(product: Product, budgets: Sequence[int], most: int) -> Product:
    """A product with a condition for how often each fault has struck; `budgets` are the fields that
    hold how often each still may, `most` at first.
    """
    conditions = dict(product.conditions)
    for number, budget in enumerate(budgets):
        for times in range(most):
            left = ApplyIR("<", (Read(budget), ConstantIR(most - times)))
            conditions[spent(number, times)] = left
    return replace(product, conditions=conditions)


def includes(counts: Counts, smaller: Counts) -> bool:
    """Whether a set of faults has all those of another one."""
    return all(one >= other for one, other in zip(counts, smaller, strict=True))


def _each_once(product: Product) -> list[FaultIR]:
    """The faults, those once after which a chip may restart in several ways."""
    return [fault for fault in product.faults if not fault.restart]


def _target(product: Product, fault: FaultIR) -> str:
    if fault.of_chip:
        return product.chips[fault.target].name
    return product.queues[fault.target].name


def _is_endless(fault: FaultIR) -> bool:
    return fault.kind in ("lose", "corrupt") and fault.endless


def _place(device: Device, fault: CountedFault) -> Place:
    groups = (g for g in device.faults if g.kind == fault.kind and fault.target in g.targets)
    own = next(groups, None)
    return own.place if own is not None else device.links[fault.target].place


def _fits(struck: Sequence[CountedFault], device: Device, left: tuple[int, ...]) -> bool:
    """Whether the device's groups have budgets `left` for all faults that have struck."""
    if not struck:
        return True
    first, others = struck[0], struck[1:]
    for number, group in enumerate(device.faults):
        if group.kind == first.kind and first.target in group.targets and left[number]:
            budgets = (*left[:number], left[number] - 1, *left[number + 1 :])
            if _fits(others, device, budgets):
                return True
    return False
