"""Check a device: explore one variant or all, make every check, and gather the verdict."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import cast

from modecheck.checks import requirement_checks, watched
from modecheck.checks.acceptance import sort_out
from modecheck.checks.consequences import with_consequences
from modecheck.checks.coverage import Coverage, coverage_of
from modecheck.checks.declared import ALL, PRESERVED, Check, Evidence, Needs
from modecheck.checks.every_check import CHECKS, not_asked
from modecheck.checks.explored import Explored, Reduced, Verdict, is_every_variant
from modecheck.checks.findings import Finding, in_order
from modecheck.checks.judged import BROKEN, FALLS, Judged, undecided
from modecheck.checks.mode_switches import mode_switches, states_in_modes
from modecheck.checks.overtaken import with_overtaking
from modecheck.checks.switch_endings import SwitchEnding, switch_endings
from modecheck.engine.choice import EngineUnavailable, Search, explore_with
from modecheck.engine.contract.forked_task import ForkedTask, can_begin
from modecheck.engine.contract.phases import phase
from modecheck.engine.contract.space import INTERRUPTION, NotSearched, ReachGoal, Space
from modecheck.engine.search.exploration import Reporter
from modecheck.model.parts import Device, Requirement
from modecheck.product.composition import compose

FEWEST_ELSEWHERE, MOST_ELSEWHERE = 20_000, 1_000_000
"""How many states a product has where observers are explored in another process: with fewer it
takes no time, and with more so long that people want to see its progress.
"""


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
    device, findings = explored[0].device, _merged(explored)
    for one in CHECKS:
        if one.across is not None and _can_ask(one, explored):
            findings += one.across(explored)
    day = today or date.today()
    complete = all(one.exploration.complete and not one.reduced.not_asked for one in explored)
    whole = complete and is_every_variant(explored)
    falling = {one.finding.id for one in _falling(explored) if one.finding is not None}
    result = sort_out(device, findings, today=day, complete=whole, falling=falling)
    return Verdict(
        device=device,
        explored=tuple(explored),
        findings=tuple(map(with_overtaking, in_order(result.findings))),
        accepted=tuple(result.accepted),
        remarks=tuple(result.remarks),
    )


def _can_ask(check: Check, explored: list[Explored]) -> bool:
    """Whether all variants together can answer it."""
    if check.every_variant and not is_every_variant(explored):
        return False
    return check.needs is Needs.TEXT or all(
        one.exploration.complete and check.code not in one.reduced.not_asked for one in explored
    )


def explore_variant(
    device: Device, *, search: Search | None = None, reporter: Reporter | None = None
) -> Explored:
    """Explore one variant, and make the checks that need only this variant."""
    how = search or Search()
    if how.engine == "zones":
        exploration, reduced, preserved = _by_zones(device, how, reporter)
    elif how.store is not None:
        exploration, reduced, preserved = _in_store(device, how, reporter)
        if exploration.complete and not reduced.swept:
            # It fits memory after all, where it is found again sooner than looked up in files.
            known = replace(how, store=None, cluster=None, expected=exploration.state_count)
            return explore_variant(device, search=known, reporter=reporter)
    else:
        product = compose(device, time_acceleration=how.time_acceleration)
        asked = watched.events_of(product)
        sweeping = replace(how, sweeps=True)
        exploration = explore_with(product, sweeping, reporter, overhearing=asked)
        reduced, preserved = _reduced(exploration, how)
    evidence = Evidence(exploration)
    if Needs.PATHS in preserved:
        judged, searched, tables = _judged_and_searched(evidence, preserved, how, reporter)
    else:
        judged = _judged_without_paths(device, exploration, preserved, reduced.where)
        searched = _searched(evidence, preserved)
        reached = Needs.STATES in preserved
        tables = _Tables((), {}, coverage_of(exploration) if reached else Coverage())
    judged = with_consequences(device, judged)
    findings = searched.findings
    findings += [one.finding for one in judged if one.finding and one.verdict == BROKEN]
    return Explored(
        device=device,
        exploration=exploration,
        findings=tuple(findings),
        switches=tuple(evidence.of(mode_switches)) if Needs.PATHS in preserved else (),
        endings=tables.endings,
        modes=tables.modes,
        coverage=tables.coverage,
        requirements=_in_document_order(device, judged),
        reduced=replace(reduced, not_asked=not_asked(preserved, searched.given_up)),
    )


def _judged_and_searched(
    evidence: Evidence, preserved: frozenset[Needs], how: Search, reporter: Reporter | None
) -> tuple[list[Judged], _Searched, _Tables]:
    """All that a graph of the states can answer, part of it in another process."""
    exploration = evidence.space
    # Observers distinguish identical units, so their products are explored without symmetry.
    alone = replace(how, symmetry=False)
    with phase("searching backwards"):
        exploration.foresee(_goals(exploration, preserved))
    waiting, following = watched.needs_of(exploration.product)
    swept = _is_swept(exploration)
    forked = None if swept else _begun_elsewhere(exploration, waiting, alone)
    judged = list(requirement_checks.judge(exploration))
    searched = _searched(evidence, preserved)
    if swept:
        judged += watched.judge_apart(exploration, [*waiting, *following], alone, reporter)
        return judged, searched, _tables(exploration)
    left = following if forked else [*waiting, *following]
    judged += watched.judge(exploration, left, alone, reporter)
    found, tables = (forked and forked.result()) or (None, _tables(exploration))
    if forked:
        judged += found or watched.judge(exploration, waiting, alone, reporter)
    return judged, searched, tables


def _goals(space: Space, preserved: frozenset[Needs]) -> Iterator[ReachGoal]:
    """What will be asked of the paths from each state."""
    yield from requirement_checks.goals(space)
    for check in CHECKS:
        if check.goals is not None and check.needs in preserved:
            yield from check.goals(space)


def _judged_without_paths(
    device: Device, exploration: Space, preserved: frozenset[Needs], where: str
) -> list[Judged]:
    """Requirements about single states, where those are preserved; the others are undecided."""
    reached = Needs.STATES in preserved
    why = f"not checked {where or 'with a single order of steps'}"
    judged = list(requirement_checks.judge_states(exploration)) if reached else []
    known = {one.need.name for one in judged}
    needs = (need for need in device.requirements.values() if need.name not in known)
    return [*judged, *(undecided(need, why) for need in needs)]


@dataclass(frozen=True, slots=True)
class _Searched:
    """What checks found, and the codes of those that could not look everywhere."""

    findings: list[Finding]
    given_up: frozenset[str]


def _searched(evidence: Evidence, preserved: frozenset[Needs]) -> _Searched:
    """The findings of every check whose needs are preserved."""
    findings: list[Finding] = []
    given_up = set()
    for check in CHECKS:
        if check.find is not None and check.needs in preserved:
            with phase(check.doing):
                try:
                    findings += check.find(evidence)
                except NotSearched:
                    given_up.add(check.code)
    return _Searched(findings, frozenset(given_up))


@dataclass(frozen=True, slots=True)
class _Tables:
    """What is counted and reported, but is not a finding."""

    endings: tuple[SwitchEnding, ...]
    modes: dict[str, int]
    coverage: Coverage


def _tables(exploration: Space) -> _Tables:
    with phase("counting what was reached"):
        return _Tables(
            tuple(switch_endings(exploration)),
            states_in_modes(exploration),
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


def _reduced(exploration: Space, how: Search) -> tuple[Reduced, frozenset[Needs]]:
    """How the product was reduced, and what that preserves."""
    accelerated = how.time_acceleration and exploration.product.time is not None
    units, stopped_by = _units(exploration) if how.symmetry else (None, "")
    preserved = PRESERVED["symmetry"] if units else ALL
    if how.order:
        preserved &= PRESERVED["order"]
    swept = _is_swept(exploration)
    reduced = Reduced(units, how.order, accelerated, swept=swept, units_stopped_by=stopped_by)
    return reduced, preserved


def _is_swept(space: Space) -> bool:
    return bool(getattr(space, "is_swept", False))


def _units(exploration: Space) -> tuple[tuple[tuple[str, ...], ...], str]:
    """The units that were exchanged, and the bound because of which some may be missing."""
    from modecheck.engine.reductions.annotated_quotient import AnnotatedQuotient
    from modecheck.product.symmetry import symmetry_of

    if isinstance(exploration, AnnotatedQuotient):
        return exploration.units, exploration.units_stopped_by
    return (), symmetry_of(exploration.product).stopped_by


def _by_zones(
    device: Device, how: Search, reporter: Reporter | None
) -> tuple[Space, Reduced, frozenset[Needs]]:
    """Explored with moments represented by zones, and what that preserves."""
    from modecheck.engine.zones.zone_space import ZoneSpace

    if how.symmetry or how.order or how.time_acceleration:
        raise EngineUnavailable("it cannot be combined with a reduction", "zones")
    zones = ZoneSpace(compose(device), limits=how.limits, reporter=reporter)
    # Those who need what zones preserve ask for nothing else.
    return cast("Space", zones), Reduced(zones=True), PRESERVED["zones"]


def _in_store(
    device: Device, how: Search, reporter: Reporter | None
) -> tuple[Space, Reduced, frozenset[Needs]]:
    """Explored into files, and what that answers."""
    if how.symmetry or how.order:
        raise EngineUnavailable("a store cannot be combined with a reduction but time")
    product = compose(device, time_acceleration=how.time_acceleration)
    exploration = explore_with(product, how, reporter)
    accelerated = how.time_acceleration and product.time is not None
    swept = _is_swept(exploration)
    reduced = Reduced(time_acceleration=accelerated, swept=swept, store=True)
    return exploration, reduced, ALL if swept else PRESERVED["store"]


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
