"""A device explored: everything found in one variant, and the verdict on all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod

from modecheck.checks.acceptance import AcceptedFinding
from modecheck.checks.coverage import Coverage
from modecheck.checks.findings import Finding
from modecheck.checks.judged import BROKEN, FALLS, HOLDS, UNDECIDED, VACUOUS, Judged
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.switch_endings import SwitchEnding
from modecheck.engine.contract.space import INTERRUPTION, Space
from modecheck.model.parts import Device


@dataclass(frozen=True, slots=True)
class Reduced:
    """How the product was reduced. `units` are the chips that were exchanged for one another, or
    None without the symmetry reduction, and `units_stopped_by` the bound because of which some may
    be missing; `not_asked` are the kinds of findings that were not, or not all, looked for.
    With `time_acceleration`, time in which nothing can happen was one step; with `zones`, moments
    were represented as bounds on clocks; with `store`, states were kept in files. With `swept`, all
    states were explored, and their transitions not kept in memory.
    """

    units: tuple[tuple[str, ...], ...] | None = None
    order: bool = False
    time_acceleration: bool = False
    zones: bool = False
    swept: bool = False
    store: bool = False
    units_stopped_by: str = ""
    not_asked: tuple[str, ...] = ()

    @property
    def where(self) -> str:
        """Where something was not checked because of the engine; nothing if it asks everything."""
        if self.store:
            return "in a store" if self.swept else "in a store that is not complete"
        return "with zones" if self.zones else ""

    @property
    def why_not_asked(self) -> str:
        """Where or why kinds of findings were not checked, or not completely."""
        if self.swept:
            return "completely, since looking for loops takes too much memory"
        return self.where or "since only part of the product was explored"


@dataclass(frozen=True, slots=True)
class Explored:
    """One variant of a device, explored: everything found in it that needs no other variant."""

    device: Device
    exploration: Space
    findings: tuple[Finding, ...]
    switches: tuple[ModeSwitch, ...]
    endings: tuple[SwitchEnding, ...]
    modes: dict[str, int]
    coverage: Coverage
    requirements: tuple[Judged, ...]
    reduced: Reduced = Reduced()

    @property
    def variant(self) -> str:
        """The choices of options, as a person writes them; nothing for a device without options."""
        return self.device.choices

    @property
    def extent(self) -> str:
        """How far it went, in a few words; "complete" only if nothing is left open."""
        if not self.exploration.complete:
            return f"stopped by {self.exploration.stopped_by}"
        undecided = any(one.verdict == UNDECIDED for one in self.requirements)
        if self.reduced.not_asked or undecided:
            return f"all {'zones' if self.reduced.zones else 'states'} explored"
        return "complete"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The result of checking a device. `findings` are those that count, worst first."""

    device: Device
    explored: tuple[Explored, ...]
    findings: tuple[Finding, ...]
    accepted: tuple[AcceptedFinding, ...]
    remarks: tuple[str, ...]

    @property
    def requirements(self) -> tuple[Judged, ...]:
        """The verdict on each requirement over all variants: the worst of any variant."""
        by_name: dict[str, list[Judged]] = {}
        for one in self.explored:
            for judged in one.requirements:
                by_name.setdefault(judged.need.name, []).append(judged)
        return tuple(min(all_, key=_gravity) for all_ in by_name.values())

    @property
    def not_evaluated(self) -> tuple[str, ...]:
        """The requirements that are undecided."""
        undecided = (one for one in self.requirements if one.verdict == UNDECIDED)
        return tuple(one.need.name for one in undecided)

    @property
    def interrupted(self) -> bool:
        """Whether somebody has stopped it: variants may have been left out."""
        return any(one.exploration.stopped_by == INTERRUPTION for one in self.explored)

    @property
    def complete(self) -> bool:
        """Whether everything was explored and checked, and every requirement decided."""
        whole = all(one.exploration.complete and not one.reduced.not_asked for one in self.explored)
        return whole and not self.not_evaluated


def _gravity(judged: Judged) -> int:
    """A requirement that is put to the test in one variant is not vacuous in the device."""
    return [BROKEN, FALLS, UNDECIDED, HOLDS, VACUOUS].index(judged.verdict)


def is_every_variant(explored: Sequence[Explored]) -> bool:
    """Whether no choice of options was left out, so that nothing can be hidden in another one."""
    options = explored[0].device.options.values()
    return len({one.variant for one in explored}) == prod(len(one.choices) for one in options)
