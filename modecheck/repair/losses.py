"""What a changed device can no longer do: nothing that was reachable elsewhere may be lost."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.coverage import joined
from modecheck.checks.explored import Explored, Verdict
from modecheck.engine.contract.space import Space
from modecheck.repair.changes import Candidate

PLACES_TOLD = 3
"""Lost states that are named; the others are counted."""

Place = tuple[str, str, str]
"""A mode (or nothing), a chip, and a state of it."""


def losses(old: Verdict, new: Verdict, candidate: Candidate) -> Iterator[str]:
    """In words: switches between modes that became impossible, rules that are never taken any more
    though they were not changed, and states of chips that are not reached in some mode any more,
    unless the scenario of a finding that is gone leads there.
    """
    for before, after in zip(old.explored, new.explored, strict=True):
        yield from _switches(before, after)
        yield from _places(before, after, _where_findings_end(old, new, before))
    touched = frozenset().union(*(one.about for one in candidate.changes))
    taken = joined(one.coverage for one in old.explored).taken
    left = joined(one.coverage for one in new.explored).taken
    for chip, rule in sorted(taken - left):
        if (chip, rule) not in touched:
            yield f"{chip}.{rule} is never taken"


def _switches(before: Explored, after: Explored) -> Iterator[str]:
    possible = {(one.source, one.target): one.direct for one in after.switches if one.possible}
    for one in before.switches:
        pair = one.source, one.target
        if one.possible and pair not in possible:
            yield f"no path leads from {one.source} to {one.target}"
        elif one.possible and one.direct and not possible[pair]:
            yield f"{one.source} leads to {one.target} only by way of another mode"


def _places(before: Explored, after: Explored, excused: set[Place]) -> Iterator[str]:
    old = places_of(before.exploration)
    lost = sorted(old - places_of(after.exploration) - excused)
    for mode, chip, state in lost[:PLACES_TOLD]:
        yield f"{chip}.{state} is not reached {f'in {mode}' if mode else 'any more'}"
    if len(lost) > PLACES_TOLD:
        yield f"{len(lost) - PLACES_TOLD} more states are not reached"


def places_of(space: Space) -> set[Place]:
    """Every state of every chip with each mode in which it is reached."""
    product = space.product
    found = {
        ("", chip.name, chip.leaves[leaf])
        for chip, leaves in zip(product.chips, space.occupied, strict=True)
        for leaf in leaves
    }
    for mode in product.device.modes:
        numbers = list(space.numbered(space.mark(f"mode:{mode}")))
        states = space.states_at(numbers)
        for chip in product.chips:
            leaves = {state[chip.state_field] for state in states}
            found |= {(mode, chip.name, chip.leaves[leaf]) for leaf in leaves}
    return found


def _where_findings_end(old: Verdict, new: Verdict, variant: Explored) -> set[Place]:
    """The states in which the scenarios of findings end that are gone: they were part of what was
    wrong.
    """
    left = {one.id for one in new.findings}
    modes = ["", *variant.device.modes]
    found: set[Place] = set()
    for finding in old.findings:
        if finding.id in left or finding.trace is None:
            continue
        told = [one.states for one in finding.trace.told if one.states]
        found |= {(mode, *place) for place in (told[-1] if told else {}).items() for mode in modes}
    return found
