"""Whether two devices behave alike, for each look at them and in each mode.

Everything that is looked at is reported by one exploration of each device where a step can report
so much, and read off it once for each look and mode. An exploration that was stopped proves
nothing: then the answer is that nobody knows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from modecheck.checks.ways import Way
from modecheck.compare.difference import Difference, How, difference, run_showing
from modecheck.compare.forms import Name
from modecheck.compare.labelled import LabelledSystem
from modecheck.compare.looks import Devices, Look
from modecheck.compare.refinement import Equivalence, TooManyWeakSteps, equivalent
from modecheck.compare.visible import (
    MOST_VISIBLE,
    Called,
    NotExplored,
    Observation,
    TooMuchVisible,
    Visible,
    reporting,
)
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.exploration import Reporter
from modecheck.product.form import Product

WHOLE = ""
"""In place of a mode: whatever the device does, in a mode or in none."""


class Outcome(Enum):
    """What is known of a behaviour."""

    SAME = "same"
    DIFFERENT = "different"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Behaviour:
    """One look in one mode (by its new name), or in all the device does (`WHOLE`).

    Where the devices differ, `difference` tells how; None where they only differ in how many silent
    steps there are. `way` is a scenario of `product` that shows it, if there is one. `reason` says
    why nothing is known.
    """

    look: Look
    mode: str
    outcome: Outcome
    variant: str = ""
    difference: Difference | None = None
    way: Way | None = None
    product: Product | None = None
    reason: str = ""


def compare_behaviour(
    devices: Devices,
    looks: Sequence[Look],
    equivalence: Equivalence = Equivalence.BRANCHING,
    search: Search | None = None,
    reporter: Reporter | None = None,
) -> Iterator[Behaviour]:
    """A `Behaviour` for each look, in all that the devices do and in each mode that both have."""
    how = replace(search or Search(), symmetry=False, order=False)
    for group in _reported_together(looks):
        try:
            old, new = _observed(devices, group, how, reporter)
        except (NotExplored, TooMuchVisible) as why:
            for look, (_, mode) in _each(group, devices):
                yield Behaviour(look, mode, Outcome.UNKNOWN, reason=str(why))
            continue
        yield from _Group(devices, old, new, equivalence).compared(group)


@dataclass(frozen=True, slots=True)
class _Group:
    """Two observations, of which several looks are read.

    What is equivalent when modes are seen with the events is equivalent in each of them (see
    `Observation.system_with_modes`), so that is asked first.
    """

    devices: Devices
    old: Observation
    new: Observation
    equivalence: Equivalence

    def compared(self, looks: Sequence[Look]) -> Iterator[Behaviour]:
        for look in looks:
            if self._same_with_modes(look):
                for _, (_, mode) in _each([look], self.devices):
                    yield Behaviour(look, mode, Outcome.SAME)
                continue
            for _, (old_mode, mode) in _each([look], self.devices):
                old = self.old.system(look.old, old_mode)
                new = self.new.system(look.new, mode or None)
                yield _compared(look, mode, (self.old, self.new), (old, new), self.equivalence)

    def _same_with_modes(self, look: Look) -> bool:
        modes = list(_modes(self.devices))
        old = self.old.system_with_modes(look.old, [mode for mode, _ in modes])
        new = self.new.system_with_modes(look.new, [mode for _, mode in modes])
        try:
            return equivalent(old, new, self.equivalence)
        except TooManyWeakSteps:
            return False


def _each(group: Sequence[Look], devices: Devices) -> Iterator[tuple[Look, tuple[str | None, str]]]:
    modes = [(None, WHOLE), *_modes(devices)]
    return ((look, mode) for look in group for mode in modes)


def _modes(devices: Devices) -> Iterable[tuple[str, str]]:
    """The modes that both have, by their old and new names."""
    for mode in devices.old.device.modes:
        new = devices.renaming.get(Name("mode", mode))
        if new is not None:
            yield mode, new.name


def _reported_together(looks: Sequence[Look]) -> Iterator[list[Look]]:
    """Looks in groups that one exploration can report; one that is too large stands alone."""
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
) -> tuple[Observation, Observation]:
    old, new = _all_seen(group)
    if not _fits(group):
        raise TooMuchVisible(max(len(old), len(new)))
    return (
        _observation(devices.old, old, Called(devices.renaming), search, reporter),
        _observation(devices.new, new, Called(), search, reporter),
    )


def _observation(
    product: Product, visible: Visible, called: Called, search: Search, reporter: Reporter | None
) -> Observation:
    space = explore_with(reporting(product, visible), search, reporter)
    return Observation(space, visible, called)


def _compared(
    look: Look,
    mode: str,
    observed: tuple[Observation, Observation],
    systems: tuple[LabelledSystem, LabelledSystem],
    equivalence: Equivalence,
) -> Behaviour:
    try:
        if equivalent(*systems, equivalence):
            return Behaviour(look, mode, Outcome.SAME)
    except TooManyWeakSteps as why:
        return Behaviour(look, mode, Outcome.UNKNOWN, reason=str(why))
    found = difference(*systems)
    different = Behaviour(look, mode, Outcome.DIFFERENT, difference=found)
    if found is None or found.how in (How.UNKNOWN, How.SILENT_CHOICE):
        return different
    side = 0 if found.by_first else 1
    run = run_showing(systems[side], found)
    if run is None:
        return different
    way = observed[side].way(systems[side], run)
    return replace(different, way=way, product=observed[side].product)
