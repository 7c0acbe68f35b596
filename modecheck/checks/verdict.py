"""Check a device: explore one variant or all, run every check, and gather the verdict."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import prod
from typing import cast

from modecheck.checks import (
    deadlocks,
    failing_steps,
    livelock,
    mode_switches,
    never_seen,
    pairings,
    requirement_checks,
    stuck_chips,
    switch_endings,
    time_stops,
    watched,
    zeno,
)
from modecheck.checks.acceptance import AcceptedFinding, sort_out
from modecheck.checks.consequences import with_consequences
from modecheck.checks.coverage import Coverage, coverage_of, joined
from modecheck.checks.findings import KINDS, Finding, in_order
from modecheck.checks.judged import (
    BROKEN,
    FALLS,
    HOLDS,
    UNDECIDED,
    VACUOUS,
    Judged,
    undecided,
)
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.other_choices import Dependent, dependent_on_other_choices
from modecheck.checks.switch_endings import SwitchEnding
from modecheck.engine.choice import EngineUnavailable, Search, explore_with
from modecheck.engine.exploration import Reporter
from modecheck.engine.forked_task import ForkedTask, can_begin
from modecheck.engine.phases import phase
from modecheck.engine.space import INTERRUPTION, Space
from modecheck.model.parts import Device, Requirement
from modecheck.product.composition import compose

FEWEST_ELSEWHERE, MOST_ELSEWHERE = 20_000, 1_000_000
"""How many states a product has where observers are explored in another process: with fewer it
takes no time, and with more so long that people want to see its progress.
"""
WITH_ORDER = ("deadlock", "unused")
"""What can be checked when independent steps are explored in one order only."""
WITH_ZONES = (
    "unspecified-reception",
    "blocked-reaction",
    "overflow",
    "out-of-range",
    "two-modes",
    "broken-requirement",
    "unreachable-state",
    "dead-rule",
    "mode-never-reached",
    "unused",
)
"""What can be checked with zones: what is reached, and how. Paths and loops are not preserved."""
WITHOUT_SYMMETRY = ("livelock", "zeno", "endless-switch", "needless-acceptance")
"""What cannot be checked when identical units are exchanged: a loop of representatives may lead
from one unit to the other, and be fair to none. Findings of these kinds may be accepted, so
needless acceptances cannot be reported either.
"""


@dataclass(frozen=True, slots=True)
class Reduced:
    """How the product was reduced. `units` are the chips that were exchanged for one another, or
    None without the symmetry reduction, and `units_stopped_by` the bound because of which some may
    be missing; `not_asked` are codes of findings. With `time_acceleration`, time in which nothing
    can happen was one step; with `zones`, moments were represented as bounds on clocks.
    """

    units: tuple[tuple[str, ...], ...] | None = None
    order: bool = False
    time_acceleration: bool = False
    zones: bool = False
    units_stopped_by: str = ""

    @property
    def not_asked(self) -> tuple[str, ...]:
        """The kinds of findings that need an exploration of the whole product."""
        if self.order:
            return tuple(code for code in KINDS if code not in WITH_ORDER)
        if self.zones:
            return tuple(code for code in KINDS if code not in WITH_ZONES)
        return WITHOUT_SYMMETRY if self.units else ()


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
    def complete(self) -> bool:
        """Whether everything was explored and checked, and every requirement decided."""
        whole = all(one.exploration.complete and not one.reduced.not_asked for one in self.explored)
        return whole and not self.not_evaluated


def _gravity(judged: Judged) -> int:
    """A requirement that is put to the test in one variant is not vacuous in the device."""
    return [BROKEN, FALLS, UNDECIDED, HOLDS, VACUOUS].index(judged.verdict)


def check(
    devices: Iterable[Device],
    *,
    search: Search | None = None,
    reporter: Reporter | None = None,
    today: date | None = None,
) -> Verdict:
    """The verdict on a device, given in one variant or in several.

    With several, states and rules that are never seen are judged over all of them together. After
    an interruption the remaining variants are left out, and the verdict is incomplete.
    """
    explored: list[Explored] = []
    for device in devices:
        explored.append(explore_variant(device, search=search, reporter=reporter))
        if explored[-1].exploration.stopped_by == INTERRUPTION:
            break
    complete = all(one.exploration.complete and not one.reduced.not_asked for one in explored)
    findings = _merged(explored)
    device = explored[0].device
    if all(one.exploration.complete and not one.reduced.order for one in explored):
        findings += _never_seen(explored)
        findings += _vacuous(explored)
    findings += [Finding("unused", one.subject, one.text, one.place) for one in device.unused]
    day = today or date.today()
    whole = complete and is_every_variant(explored)
    falling = {one.finding.id for one in _falling(explored) if one.finding is not None}
    result = sort_out(device, findings, today=day, complete=whole, falling=falling)
    return Verdict(
        device=device,
        explored=tuple(explored),
        findings=tuple(in_order(result.findings)),
        accepted=tuple(result.accepted),
        remarks=tuple(result.remarks),
    )


def explore_variant(
    device: Device, *, search: Search | None = None, reporter: Reporter | None = None
) -> Explored:
    """Explore one variant and run the checks that need only this variant."""
    how = search or Search()
    if how.engine == "zones":
        return _by_zones(device, how, reporter)
    product = compose(device, time_acceleration=how.time_acceleration)
    asked = watched.events_of(product)
    exploration = explore_with(product, how, reporter, overhearing=asked)
    reduced = _reduced(exploration, how)
    if how.order:
        return _deadlocks_alone(device, exploration, reduced)
    # Observers distinguish identical units, so their products are explored without symmetry.
    alone = replace(how, symmetry=False)
    waiting, following = watched.needs_of(product)
    forked = _begun_elsewhere(exploration, waiting, alone)
    judged = list(requirement_checks.judge(exploration))
    switches, findings = _searched(exploration, loops=not reduced.units)
    left = following if forked else [*waiting, *following]
    judged += watched.judge(exploration, left, alone, reporter)
    found, tables = (forked and forked.result()) or (None, _tables(exploration))
    if forked:
        judged += found or watched.judge(exploration, waiting, alone, reporter)
    judged = with_consequences(device, judged)
    findings += [one.finding for one in judged if one.finding and one.verdict == BROKEN]
    return Explored(
        device=device,
        exploration=exploration,
        findings=tuple(findings),
        switches=tuple(switches),
        endings=tables.endings,
        modes=tables.modes,
        coverage=tables.coverage,
        requirements=_in_document_order(device, judged),
        reduced=reduced,
    )


def _searched(exploration: Space, *, loops: bool) -> tuple[list[ModeSwitch], list[Finding]]:
    """The mode switches, and findings that need no requirement; loops only if wanted."""
    with phase("looking for deadlocks"):
        known = deadlocks.deadlocks(exploration)
        findings = [*deadlocks.find(exploration, known), *stuck_chips.find(exploration, known)]
    with phase("looking for states in which time stops"):
        findings += time_stops.find(exploration)
    if loops:
        with phase("looking for loops"):
            findings += [*zeno.find(exploration), *livelock.find(exploration)]
    with phase("checking pairings"):
        findings += [*failing_steps.find(exploration), *pairings.find(exploration)]
    with phase("checking mode switches"):
        switches = mode_switches.mode_switches(exploration)
        findings += mode_switches.find(exploration, switches)
        if loops:
            findings += switch_endings.find(exploration)
    return switches, findings


@dataclass(frozen=True, slots=True)
class _Tables:
    """What is counted and reported, but is not a finding."""

    endings: tuple[SwitchEnding, ...]
    modes: dict[str, int]
    coverage: Coverage


def _tables(exploration: Space) -> _Tables:
    with phase("counting what was reached"):
        return _Tables(
            tuple(switch_endings.switch_endings(exploration)),
            mode_switches.states_in_modes(exploration),
            coverage_of(exploration),
        )


def _begun_elsewhere(
    exploration: Space, needs: list[Requirement], how: Search
) -> ForkedTask[tuple[list[Judged], _Tables]] | None:
    """What observers find, and what is counted, in another process, where that is worth it and
    not so long that its progress has to be shown.
    """
    worth = FEWEST_ELSEWHERE <= exploration.state_count <= MOST_ELSEWHERE and bool(needs)
    if not worth or not can_begin(how.threads, how.limits):
        return None
    return ForkedTask(
        lambda: (list(watched.judge(exploration, needs, how, None)), _tables(exploration))
    )


def _in_document_order(device: Device, judged: list[Judged]) -> tuple[Judged, ...]:
    order = list(device.requirements)
    return tuple(sorted(judged, key=lambda one: order.index(one.need.name)))


def _reduced(exploration: Space, how: Search) -> Reduced:
    time_acceleration = how.time_acceleration and exploration.product.time is not None
    if not how.symmetry:
        return Reduced(order=how.order, time_acceleration=time_acceleration)
    units, stopped_by = _units(exploration)
    return Reduced(units, how.order, time_acceleration, units_stopped_by=stopped_by)


def _units(exploration: Space) -> tuple[tuple[tuple[str, ...], ...], str]:
    """The units that were exchanged, and the bound because of which some may be missing."""
    from modecheck.engine.reductions.annotated_quotient import AnnotatedQuotient
    from modecheck.product.symmetry import symmetry_of

    if isinstance(exploration, AnnotatedQuotient):
        return exploration.units, exploration.units_stopped_by
    return (), symmetry_of(exploration.product).stopped_by


def _deadlocks_alone(device: Device, exploration: Space, reduced: Reduced) -> Explored:
    """What can be checked where independent steps were explored in one order."""
    found = deadlocks.find(exploration, deadlocks.deadlocks(exploration))
    needs = device.requirements.values()
    judged = tuple(undecided(need, "not checked with a single order of steps") for need in needs)
    nothing = Coverage()
    return Explored(device, exploration, tuple(found), (), (), {}, nothing, judged, reduced)


def _by_zones(device: Device, how: Search, reporter: Reporter | None) -> Explored:
    """What can be checked where moments were represented by zones."""
    from modecheck.engine.zones.zone_space import ZoneSpace

    if how.symmetry or how.order or how.time_acceleration:
        raise EngineUnavailable("it cannot be combined with a reduction", "zones")
    zones = ZoneSpace(compose(device), limits=how.limits, reporter=reporter)
    space = cast("Space", zones)  # the checks below ask for nothing else
    judged = {one.need.name: one for one in requirement_checks.judge_states(space)}
    for need in device.requirements.values():
        judged.setdefault(need.name, undecided(need, "not checked with zones"))
    findings = [*failing_steps.find(space), *mode_switches.two_at_once(space)]
    if space.complete:
        reached = mode_switches.states_in_modes(space)
        findings += mode_switches.never_reached(space, reached)
    known = with_consequences(device, list(judged.values()))
    findings += [one.finding for one in known if one.finding is not None and one.verdict == BROKEN]
    return Explored(
        device=device,
        exploration=space,
        findings=tuple(findings),
        switches=(),
        endings=(),
        modes={},
        coverage=coverage_of(space),
        requirements=_in_document_order(device, known),
        reduced=Reduced(zones=True),
    )


def _merged(explored: list[Explored]) -> list[Finding]:
    """Each finding once, from the variant with the shortest scenario, with the variants named."""
    if len(explored) == 1:
        return list(explored[0].findings)
    best: dict[str, Finding] = {}
    variants: dict[str, list[str]] = {}
    for one in explored:
        for finding in one.findings:
            variants.setdefault(finding.id, []).append(one.variant)
            other = best.get(finding.id)
            if other is None or (finding.steps or 0) < (other.steps or 0):
                best[finding.id] = finding
    return [
        replace(finding, variants=_variants_told(finding, variants[finding.id], explored))
        for finding in best.values()
    ]


def _variants_told(
    finding: Finding, variants: list[str], explored: list[Explored]
) -> tuple[str, ...]:
    """The variants in which a finding occurs, the one of its scenario first; none if all."""
    if len(variants) == len(explored):
        return ()
    own = next(one.variant for one in explored if finding in one.findings)
    return tuple(dict.fromkeys([own, *variants]))


def _falling(explored: list[Explored]) -> Iterator[Judged]:
    """Requirements that fall with others in some variant."""
    for one in explored:
        yield from (judged for judged in one.requirements if judged.verdict == FALLS)


def is_every_variant(explored: Sequence[Explored]) -> bool:
    """Whether no choice of options was left out, so that nothing can be hidden in another one."""
    options = explored[0].device.options.values()
    return len({one.variant for one in explored}) == prod(len(one.choices) for one in options)


def _vacuous(explored: list[Explored]) -> Iterator[Finding]:
    """Requirements that are not put to the test in any variant, where none was left out."""
    if not is_every_variant(explored):
        return
    for number, judged in enumerate(explored[0].requirements):
        if all(one.requirements[number].verdict == VACUOUS for one in explored):
            need = judged.need
            text = f"{need.sentence}: it is never put to the test"
            yield Finding("vacuous-requirement", need.name, text, need.place)


def _never_seen(explored: list[Explored]) -> list[Finding]:
    device = explored[0].device
    coverage = joined(one.coverage for one in explored)
    whole = is_every_variant(explored)
    excused = Dependent() if whole else dependent_on_other_choices(device, coverage)
    return list(never_seen.find(device, coverage, excused))
