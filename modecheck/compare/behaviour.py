"""Whether two devices behave alike, for each look at them and in each mode.

If a step can report that much, one exploration of each device reports everything that is looked at,
and each look and mode is read off it. An exploration that was stopped proves nothing: the outcome
is then unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from modecheck.compare.difference import (
    BehaviourDifference,
    How,
    difference,
    run_showing,
    silent_cycle,
)
from modecheck.compare.forms import PartName
from modecheck.compare.looks import Devices, Look
from modecheck.compare.observation import NotExplored, ObservedSpace
from modecheck.compare.refinement import Equivalence, TooManyWeakSteps, equivalent
from modecheck.compare.silent_cycles import with_divergence
from modecheck.compare.visible import MOST_VISIBLE, Called, TooMuchVisible, Visible, reporting
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.search.exploration import Reporter
from modecheck.product.ir import Product
from modecheck.scenario.traces import Trace

WHOLE = ""
"""In place of a mode: the whole behaviour of the device, in a mode or in none."""


class Outcome(Enum):
    """What is known of a behaviour."""

    SAME = "same"
    DIFFERENT = "different"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Behaviour:
    """One look in one mode (by its new name), or in the whole behaviour (`WHOLE`).

    If the devices differ, `difference` describes how; it is None if they differ only in the number
    of silent steps. `trace` is a scenario that shows the difference, if there is one.
    `reason` is why the outcome is unknown.
    """

    look: Look
    mode: str
    outcome: Outcome
    variant: str = ""
    difference: BehaviourDifference | None = None
    trace: Trace | None = None
    reason: str = ""


def compare_behaviour(
    devices: Devices,
    looks: Sequence[Look],
    equivalence: Equivalence = Equivalence.BRANCHING,
    search: Search | None = None,
    reporter: Reporter | None = None,
) -> Iterator[Behaviour]:
    """A `Behaviour` for each look, for the whole behaviour and for each mode that both have."""
    how = replace(search or Search(), symmetry=False, order=False)
    for group in _reported_together(looks):
        try:
            old, new = _observed(devices, group, how, reporter)
        except (NotExplored, TooMuchVisible) as why:
            for look, (_, mode) in _each(group, devices):
                yield Behaviour(look, mode, Outcome.UNKNOWN, reason=str(why))
            continue
        yield from _Group(devices, old, new, equivalence).compared(group)


class _Group:
    """Two observations, off whose reduced, far smaller systems several looks are read. Scenarios
    are runs of the systems as explored.
    """

    def __init__(
        self, devices: Devices, old: ObservedSpace, new: ObservedSpace, equivalence: Equivalence
    ) -> None:
        self._devices = devices
        self._observed = (old, new)
        self._equivalence = equivalence
        self._reduced = tuple(one.told.reduced(equivalence) for one in self._observed)

    def compared(self, looks: Sequence[Look]) -> Iterator[Behaviour]:
        for look, (_, mode) in _each(looks, self._devices):
            yield self._compared(look, mode)

    def _compared(self, look: Look, mode: str) -> Behaviour:
        old, new = (
            told.looked_at(visible, mode or None)
            for told, visible in zip(self._reduced, (look.old, look.new), strict=True)
        )
        try:
            if equivalent(old, new, self._equivalence):
                return Behaviour(look, mode, Outcome.SAME)
        except TooManyWeakSteps as why:
            return Behaviour(look, mode, Outcome.UNKNOWN, reason=str(why))
        if self._equivalence is Equivalence.DIVERGENCE:
            old, new = with_divergence(old), with_divergence(new)
        found = difference(old, new)
        different = Behaviour(look, mode, Outcome.DIFFERENT, difference=found)
        if found is None or found.how in (How.UNKNOWN, How.SILENT_CHOICE):
            return different
        return replace(different, trace=self._shown(found, look, mode))

    def _shown(self, found: BehaviourDifference, look: Look, mode: str) -> Trace | None:
        """A scenario that shows a difference; for a divergence it ends with a silent loop."""
        observed = self._observed[0 if found.by_first else 1]
        whole = observed.told.looked_at(look.old if found.by_first else look.new, mode or None)
        told = whole
        if self._equivalence is Equivalence.DIVERGENCE:
            told = with_divergence(whole)
        run = run_showing(told, found)
        if run is None or found.how is not How.DIVERGENCE:
            return None if run is None else observed.trace(whole, run)
        loop = silent_cycle(whole, int(whole.targets[run[-1]]) if run else whole.initial)
        assert loop, "the run ends on a cycle of silent steps"
        return replace(observed.trace(whole, [*run, *loop]), loop_from=len(run) + 1)


def _each(group: Sequence[Look], devices: Devices) -> Iterator[tuple[Look, tuple[str | None, str]]]:
    modes = [(None, WHOLE), *_modes(devices)]
    return ((look, mode) for look in group for mode in modes)


def _modes(devices: Devices) -> Iterable[tuple[str, str]]:
    """The modes that both have, by their old and new names."""
    for mode in devices.old.device.modes:
        new = devices.renaming.get(PartName("mode", mode))
        if new is not None:
            yield mode, new.name


def _reported_together(looks: Sequence[Look]) -> Iterator[list[Look]]:
    """Looks in groups that one exploration can report; a look that is too large is alone."""
    group: list[Look] = []
    for look in looks:
        if group and not _fits([*group, look]):
            yield group
            group = []
        group.append(look)
    if group:
        yield group


def _fits(group: Sequence[Look]) -> bool:
    return all(len(visible) <= MOST_VISIBLE for visible in _all_seen(group))


def _all_seen(group: Sequence[Look]) -> tuple[Visible, Visible]:
    old, new = Visible(), Visible()
    for look in group:
        old, new = old | look.old, new | look.new
    return old, new


def _observed(
    devices: Devices, group: Sequence[Look], search: Search, reporter: Reporter | None
) -> tuple[ObservedSpace, ObservedSpace]:
    old, new = _all_seen(group)
    if not _fits(group):
        raise TooMuchVisible(max(len(old), len(new)))
    begins = bool(devices.old.starts or devices.new.starts)

    def observed(product: Product, visible: Visible, called: Called) -> ObservedSpace:
        space = explore_with(reporting(product, visible), search, reporter)
        return ObservedSpace(space, visible, called, begins=begins)

    return (
        observed(devices.old, old, Called(devices.renaming)),
        observed(devices.new, new, Called()),
    )
