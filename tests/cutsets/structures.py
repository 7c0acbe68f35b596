"""Structures of reliability theory as devices: components that work until they fail.

An operator starts all of them once; what loses its power then stays off. The system is down where
a condition on the components that are off holds. So a minimal cut set of the structure is a
minimal set of power cuts.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from itertools import combinations
from pathlib import Path

from modecheck.cutsets.breaking import Breakable
from modecheck.cutsets.fault_table import FaultTable, fault_table
from modecheck.engine.choice import Search
from modecheck.model.devices import read_device
from modecheck.model.parts import Device

Set = frozenset[str]

COMPONENT = """\
  {name}:
    states: {{off: {{rest: true}}, on: {{rest: true}}}}
    rules: {{start: {{in: off, on: start, to: on}}}}
"""
DEVICE = """\
device: a structure
chips:
{components}actors:
  operator:
    states: [before, after]
    rules: {{start: {{in: before, signal: [start], to: after}}}}
faults:
  power_cut:
{cuts}requirements:
  works:
    text: The system works
    never: operator.after and ({down})
"""


def structure(folder: Path, names: Sequence[str], down: str) -> Device:
    """The device of these components; `down` is the condition, in which `a.off` says that the
    component `a` has failed.
    """
    path = folder / "device.yaml"
    components = "".join(COMPONENT.format(name=name) for name in names)
    cuts = "".join(f"    - {{chips: [{name}], at_most: 1}}\n" for name in names)
    path.write_text(DEVICE.format(components=components, cuts=cuts, down=down), encoding="utf-8")
    return read_device(str(path), {})


def fewer_than(working: int, names: Sequence[str]) -> str:
    """The condition that fewer than so many of some components work."""
    failing = len(names) - working + 1
    terms = (" and ".join(f"{n}.off" for n in some) for some in combinations(names, failing))
    return " or ".join(f"({term})" for term in terms)


def table_of(device: Device, most: int = 1, in_all: int = 9, engine: str = "auto") -> FaultTable:
    """The fault table."""
    return fault_table(device, most, in_all, Search(engine=engine))  # type: ignore[arg-type]


def breakable(table: FaultTable, id_: str) -> Breakable:
    """What can break, by its id."""
    return next(one for one in table.breakable if one.id == id_)


def cut_sets(table: FaultTable, id_: str = "broken-requirement:works") -> set[Set]:
    """The minimal cut sets, as sets of the components that fail."""
    return {
        frozenset(
            fault.target
            for fault, count in zip(table.counted.faults, cut.counts, strict=True)
            if count
        )
        for cut in breakable(table, id_).sets
    }


def minimal_sets(names: Collection[str], is_down: Callable[[Set], bool]) -> set[Set]:
    """The minimal cut sets of a structure function, by its definition: all sets are tried."""
    every = (
        frozenset(some) for size in range(len(names) + 1) for some in combinations(names, size)
    )
    found: set[Set] = set()
    for some in every:
        if is_down(some) and not any(less <= some for less in found):
            found.add(some)
    return found


def sets(*every: Iterable[str]) -> set[Set]:
    """Sets of components, each given by its letters or names."""
    return {frozenset(one) for one in every}
