"""Roam: walk at random through a device, in one variant or in several, and gather what was seen.

Walks are done in rounds of a fixed number of runs, so that the report after a round depends only on
the seed, however long it took. A finding's scenario is made from the runs of the first
round that showed it: it stays the same however long the walks go on.

Seconds are counted by the work that an ordinary machine does in them (`Walker.work`), so that they,
too, end at the same run on any machine. The clock stops only what takes far longer than that.
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from math import inf

from modecheck.checks.acceptance import AcceptedFinding, sort_out
from modecheck.checks.consequences import fallen
from modecheck.checks.findings import Finding, in_order
from modecheck.checks.overtaken import with_overtaking
from modecheck.checks.roaming.finite_tests import (
    can_go_bad,
    composed,
    decided_early,
    watch_list,
    without_idle_conditions,
)
from modecheck.checks.roaming.seen import Declared, SeenSoFar, declared_in, seen_by
from modecheck.checks.roaming.shrinking import Shrinker
from modecheck.checks.roaming.told import as_finding
from modecheck.engine.choice import EngineName
from modecheck.engine.contract.space import INTERRUPTION
from modecheck.engine.search.walk_targets import DEADLOCK, STATE, Run, WalkTarget
from modecheck.engine.search.walking import Walker
from modecheck.engine.walk_choice import walker_for
from modecheck.model.parts import Device, Requirement
from modecheck.product.composition import compose
from modecheck.product.ir import Product

RUNS_A_ROUND = 64
"""Runs of a round, over all variants: a few milliseconds in machine code."""
QUIET_RUNS = 2_048
"""At least this many runs, and half of all, must find nothing new before the walks end by
themselves: in small products that is soon.
"""
MOST_TIMES, MORE_SECONDS = 2, 5
"""The clock stops the walks after this many times the requested seconds, and this many more."""
MOST_VARIANTS = 8
"""Variants that are walked through: each has its own memory. Of more, some are drawn."""

BROKEN, NOT_BROKEN, SEEN, NOT_SEEN, LEFT_OUT = (
    "broken",
    "not broken so far",
    "seen",
    "not seen so far",
    "left out",
)


@dataclass(frozen=True, slots=True)
class Roaming:
    """How to roam: up to a number of runs, or the work of a number of seconds, whichever comes
    first, but at least one round. Without a number of runs, also until nothing new is seen.
    """

    runs: int | None = None
    seconds: float | None = None
    depth: int = 400
    seed: int = 1
    engine: EngineName = "auto"


@dataclass(frozen=True, slots=True)
class Roamed:
    """What was seen. `longer` are the ids of findings whose scenario may not be a shortest one.
    `by_clock` is true if the clock, or an interruption, decided how many runs there were.
    """

    device: Device
    how: Roaming
    variants: tuple[str, ...]
    findings: tuple[Finding, ...]
    accepted: tuple[AcceptedFinding, ...]
    remarks: tuple[str, ...]
    requirements: tuple[tuple[Requirement, str], ...]
    over_time: tuple[SeenSoFar, ...]
    declared: Declared
    stopped_by: str
    by_clock: bool
    longer: frozenset[str]

    @property
    def interrupted(self) -> bool:
        """Whether it was interrupted, perhaps in the middle of a round."""
        return self.stopped_by == INTERRUPTION

    @property
    def seen(self) -> SeenSoFar:
        """What was seen in the end."""
        return self.over_time[-1]


@dataclass(slots=True)
class _Variant:
    device: Device
    walker: Walker
    walked: Product
    first_seen: dict[WalkTarget, tuple[int, Run]] = field(default_factory=dict)
    """The round in which something was first seen, and the shortest run of it until its end."""


def roam(devices: Sequence[Device], how: Roaming, *, today: date | None = None) -> Roamed:
    """Walk through a device, given in one variant or in several, and report what was seen."""
    variants = [_variant(device, how) for device in _drawn(devices, how.seed)]
    began = time.monotonic()  # what has to be compiled is compiled by now
    over_time, stopped_by, by_clock = _walked(variants, how, began)
    found: dict[str, _Found] = {}
    possible: set[str] = set()
    for variant in variants:
        for one in _findings(variant, how):
            if isinstance(one, str):
                possible.add(one)
                continue
            known = found.get(one.finding.id)
            if known is None or one.precedence < known.precedence:
                found[one.finding.id] = one
    device = variants[0].device
    findings = [one.finding for one in found.values()]
    broken = {one.subject for one in findings if one.code == "broken-requirement"}
    falling = {f"broken-requirement:{name}" for name in fallen(device, broken)}
    told = [_with_variant(one, len(variants)) for id_, one in found.items() if id_ not in falling]
    result = sort_out(device, told, today=today or date.today(), complete=False)
    remarks = list(result.remarks)
    if len(variants) < len(devices):
        remarks.append(
            f"only {len(variants)} of {len(devices)} combinations of options, drawn at random"
        )
    return Roamed(
        device=device,
        how=how,
        variants=tuple(variant.device.choices for variant in variants),
        findings=tuple(in_order(result.findings)),
        accepted=tuple(result.accepted),
        remarks=tuple(remarks),
        requirements=tuple(
            (need, _said(device, need, broken, possible)) for need in device.requirements.values()
        ),
        over_time=over_time,
        declared=declared_in([variant.walked for variant in variants]),
        stopped_by=stopped_by,
        by_clock=by_clock,
        longer=frozenset(id_ for id_, one in found.items() if not one.shortest),
    )


def _drawn(devices: Sequence[Device], seed: int) -> list[Device]:
    """The variants to walk through, in their order."""
    if len(devices) <= MOST_VARIANTS:
        return list(devices)
    chosen = random.Random(seed).sample(range(len(devices)), MOST_VARIANTS)  # noqa: S311 - no secret
    return [devices[number] for number in sorted(chosen)]


def _variant(device: Device, how: Roaming) -> _Variant:
    needs = (need.name for need in device.requirements.values() if can_go_bad(device, need))
    product = composed(device, needs)
    product, watched = without_idle_conditions(product, watch_list(product))
    walker = walker_for(product, watched, engine=how.engine, seed=how.seed, depth=how.depth)
    return _Variant(device, walker, product)


def _walked(
    variants: list[_Variant], how: Roaming, began: float
) -> tuple[tuple[SeenSoFar, ...], str, bool]:
    """Walk round by round until a bound is hit; what was seen from time to time, what stopped it,
    and whether that was the clock (or an interruption).
    """
    walkers = [variant.walker for variant in variants]
    latest = inf if how.seconds is None else began + MOST_TIMES * how.seconds + MORE_SECONDS
    over_time: list[SeenSoFar] = []
    rounds = runs = 0
    while True:
        runs, interrupted = _round(walkers, how, runs)
        rounds += 1
        for variant in variants:
            for target, run in variant.walker.new_targets().items():
                variant.first_seen[target] = (rounds, run)
        row_due = rounds & (rounds - 1) == 0
        if row_due:
            over_time.append(seen_by(walkers))
        stopped_by, by_clock = "", False
        if interrupted:
            stopped_by, by_clock = INTERRUPTION, True
        elif bound := _bound_hit(how, runs, sum(one.work for one in walkers)):
            stopped_by = bound
        elif how.runs is None and row_due and _quiet(over_time, variants, rounds):
            stopped_by = f"{runs - over_time[-2].runs:,} runs in a row that found nothing new"
        elif time.monotonic() >= latest:
            stopped_by, by_clock = f"the clock, before {how.seconds:g} s of work were done", True
        if stopped_by:
            return (*over_time, *(() if row_due else (seen_by(walkers),))), stopped_by, by_clock


def _bound_hit(how: Roaming, runs: int, work: float) -> str:
    """The bound of runs or of work that is reached, or nothing."""
    if how.runs is not None and runs >= how.runs:
        return f"the bound of {how.runs:,} runs"
    if how.seconds is not None and work >= how.seconds:
        return f"the bound of {how.seconds:g} s of work"
    return ""


def _round(walkers: Sequence[Walker], how: Roaming, runs: int) -> tuple[int, bool]:
    """One round more; the number of runs then, and whether it was interrupted."""
    each = max(1, RUNS_A_ROUND // len(walkers))
    try:
        for walker in walkers:
            now = each if how.runs is None else min(each, how.runs - runs)
            walker.walk(now)
            runs += now
    except KeyboardInterrupt:
        return runs, True
    return runs, False


def _quiet(over_time: Sequence[SeenSoFar], variants: Iterable[_Variant], rounds: int) -> bool:
    """Whether the second half of the runs found nothing new, and no state was seen only once. That
    depends on the seed alone; it is no proof that there is nothing else.
    """
    if len(over_time) < 2:
        return False
    before, now = over_time[-2:]
    firsts = (first for variant in variants for first, _ in variant.first_seen.values())
    return (
        now.runs - before.runs >= QUIET_RUNS
        and now.estimate.exact
        and now.estimate.once == 0
        and now.estimate.states == before.estimate.states
        and (now.rules, now.meetings, now.switches)
        == (before.rules, before.meetings, before.switches)
        and max(firsts, default=0) <= rounds // 2
    )


@dataclass(frozen=True, slots=True)
class _Found:
    finding: Finding
    variant: str
    shortest: bool
    seen_in_round: int

    @property
    def precedence(self) -> tuple[int, int]:
        """The first of several variants to show it stays the one that is reported."""
        return self.seen_in_round, self.finding.steps or 0


def _findings(variant: _Variant, how: Roaming) -> Iterator[_Found | str]:
    """The findings of one variant, and the names of possible requirements that came true."""
    base = compose(variant.device)
    shrinker = Shrinker(variant.device, engine=how.engine)
    for target in _causes(variant.first_seen):
        kind, _, name = target.name.partition(":")
        if (kind, target.kind) == ("requirement", STATE) and (
            variant.device.requirements[name].pattern == "possible"
        ):
            yield name
            continue
        seen_in_round, run = variant.first_seen[target]
        shrunk = shrinker.shrunk(variant.walked, target, run)
        finding = as_finding(base, target, shrunk)
        if finding is not None:
            choices = variant.device.choices
            yield _Found(with_overtaking(finding), choices, shrunk.shortest, seen_in_round)


def _causes(targets: Iterable[WalkTarget]) -> Iterator[WalkTarget]:
    """What was seen, without deadlocks that contain a smaller one whole."""
    known = list(targets)
    deadlocks = [set(target.pattern) for target in known if target.kind == DEADLOCK]
    for target in known:
        pattern = set(target.pattern)
        if target.kind != DEADLOCK or not any(one < pattern for one in deadlocks):
            yield target


def _with_variant(one: _Found, variants: int) -> Finding:
    """Where several were walked through, the one that the scenario belongs to is named."""
    return replace(one.finding, variants=(one.variant,)) if variants > 1 else one.finding


def _said(device: Device, need: Requirement, broken: set[str], possible: set[str]) -> str:
    if need.name in broken:
        return BROKEN
    if need.pattern == "possible":
        return SEEN if need.name in possible else NOT_SEEN
    return NOT_BROKEN if decided_early(device, need) else LEFT_OUT
