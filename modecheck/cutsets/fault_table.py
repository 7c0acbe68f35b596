"""The fault table of a device: what breaks it, and what each single fault or act does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from modecheck.cutsets.breaking import Breakable
from modecheck.cutsets.counted_faults import CountedFaults, counted_faults
from modecheck.cutsets.effects import Effects, EffectSearch
from modecheck.cutsets.fault_counting import FaultCounting
from modecheck.cutsets.people import People, people_of
from modecheck.cutsets.slices import Slices
from modecheck.engine.choice import Search
from modecheck.engine.contract.phases import phase
from modecheck.engine.search.exploration import Reporter
from modecheck.model.parts import Device


@dataclass(frozen=True, slots=True)
class FaultTable:
    """What was found of a device, of which faults were counted as `counted` says. `stopped_by` is
    the bound that was hit, or nothing; then nothing is known of single faults.
    """

    counted: CountedFaults
    states: int
    stopped_by: str
    breakable: tuple[Breakable, ...]
    single: tuple[Effects, ...]
    people: People | None = None

    @property
    def complete(self) -> bool:
        """Whether everything up to the bounds of faults is known."""
        known = self.people is None or not self.people.unknown
        return known and not self.stopped_by and not any(one.remark for one in self.breakable)

    @property
    def broken_as_modelled(self) -> bool:
        """Whether something breaks within the budgets that the device declares."""
        return any(cut.allowed for one in self.breakable for cut in one.sets)


def fault_table(
    device: Device,
    most: int,
    in_all: int,
    search: Search,
    reporter: Reporter | None = None,
    *,
    people: bool = False,
) -> FaultTable:
    """The table with up to `most` of each fault, and up to `in_all` together; with `people` also
    of what actors do.
    """
    search = replace(search, limits=search.limits.from_now())
    counted = counted_faults(device, most, in_all)
    counting = FaultCounting(counted, search, reporter)
    late = search.limits.reached_seconds if search.limits.time_is_up else ""
    stopped_by = counting.space.stopped_by or late
    table = FaultTable(counted, counting.space.state_count, stopped_by, counting.breakable, ())
    if stopped_by:
        return table
    slices = counting.slices
    with phase("what the device keeps when it is left alone"):
        asked = EffectSearch(slices.slice(tuple(0 for _ in counted.faults), {}))
    table = replace(table, single=tuple(_single(counted, slices, asked)))
    if not people:
        return table
    told = people_of(device, asked, counting.breakable, most, search, reporter)
    return replace(table, people=told)


def _single(counted: CountedFaults, slices: Slices, asked: EffectSearch) -> Iterator[Effects]:
    """The effects of each single fault."""
    labels, occurring = counted.labels(slices.whole.product), set(slices.occurring)
    for number, (fault, own) in enumerate(zip(counted.faults, labels, strict=True)):
        once = tuple(int(other == number) for other, _ in enumerate(counted.faults))
        with phase(f"effects of {fault.name}"):
            if once in occurring:
                yield asked.effects(fault.name, "", own, slices.slice(once, {}))
            else:
                yield Effects(fault.name, "", 0, (), ())
