"""Check a device: explore one variant or all, run every check, and gather the verdict."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from math import prod

from modecheck.checks import (
    deadlocks,
    failing_steps,
    livelock,
    mode_switches,
    never_seen,
    pairings,
    requirements,
    stuck_chips,
)
from modecheck.checks.acceptance import Accepted, sort_out
from modecheck.checks.coverage import Coverage, coverage_of, joined
from modecheck.checks.findings import Finding, in_order
from modecheck.checks.mode_switches import ModeSwitch
from modecheck.checks.other_choices import Dependent, dependent_on_other_choices
from modecheck.engine.choice import Search, explore_with
from modecheck.engine.exploration import Reporter
from modecheck.engine.space import Space
from modecheck.model.parts import Device
from modecheck.product.composition import compose


@dataclass(frozen=True, slots=True)
class Explored:
    """One variant of a device, explored: everything found in it but what needs other variants."""

    device: Device
    exploration: Space
    findings: tuple[Finding, ...]
    switches: tuple[ModeSwitch, ...]
    modes: dict[str, int]
    coverage: Coverage

    @property
    def variant(self) -> str:
        """The choices of options, as a person writes them; nothing for a device without options."""
        return ", ".join(f"{name}={value}" for name, value in self.device.variant.items())


@dataclass(frozen=True, slots=True)
class Verdict:
    """What check says of a device. `findings` are those that count, worst first."""

    device: Device
    explored: tuple[Explored, ...]
    findings: tuple[Finding, ...]
    accepted: tuple[Accepted, ...]
    remarks: tuple[str, ...]
    not_evaluated: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether everything was explored and every requirement evaluated."""
        whole = all(one.exploration.complete for one in self.explored)
        return whole and not self.not_evaluated


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
        if explored[-1].exploration.stopped_by == "an interruption":
            break
    complete = all(one.exploration.complete for one in explored)
    findings = _merged(explored)
    device = explored[0].device
    if complete:
        findings += _never_seen(explored)
    findings += [Finding("unused", one.subject, one.text, one.place) for one in device.unused]
    day = today or date.today()
    whole = complete and _is_every_variant(explored)
    result = sort_out(device, findings, today=day, complete=whole)
    return Verdict(
        device=device,
        explored=tuple(explored),
        findings=tuple(in_order(result.findings)),
        accepted=tuple(result.accepted),
        remarks=tuple(result.remarks),
        not_evaluated=requirements.not_evaluated(explored[0].exploration),
    )


def explore_variant(
    device: Device, *, search: Search | None = None, reporter: Reporter | None = None
) -> Explored:
    """Explore one variant and run the checks that need nothing but it."""
    exploration = explore_with(compose(device), search, reporter)
    known = deadlocks.deadlocks(exploration)
    switches = mode_switches.mode_switches(exploration)
    findings = [
        *deadlocks.find(exploration, known),
        *stuck_chips.find(exploration, known),
        *livelock.find(exploration),
        *failing_steps.find(exploration),
        *pairings.find(exploration),
        *mode_switches.find(exploration, switches),
        *requirements.find(exploration),
    ]
    return Explored(
        device=device,
        exploration=exploration,
        findings=tuple(findings),
        switches=tuple(switches),
        modes=mode_switches.states_in_modes(exploration),
        coverage=coverage_of(exploration),
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


def _is_every_variant(explored: list[Explored]) -> bool:
    """Whether no choice of options was left out, so that nothing can be hidden in another one."""
    options = explored[0].device.options.values()
    return len({one.variant for one in explored}) == prod(len(one.choices) for one in options)


def _never_seen(explored: list[Explored]) -> list[Finding]:
    device = explored[0].device
    coverage = joined(one.coverage for one in explored)
    whole = _is_every_variant(explored)
    excused = Dependent() if whole else dependent_on_other_choices(device, coverage)
    return list(never_seen.find(device, coverage, excused))
