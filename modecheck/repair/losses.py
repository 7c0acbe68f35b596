"""What a changed device can no longer do: nothing that was reachable elsewhere may be lost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from modecheck.checks.coverage import joined
from modecheck.checks.explored import Explored, Verdict
from modecheck.engine.contract.space import Space
from modecheck.model.copies import unnumbered
from modecheck.model.values import ValueType
from modecheck.product.ir import Field, Product
from modecheck.repair.changes import Candidate

PLACES_TOLD = 3
"""Lost states that are named; the others are counted."""

Place = tuple[str, str, str]
"""A mode (or nothing), a chip, and a state of it, or a variable with a value, as `x = 1`."""
MOST_VALUES = 16
"""Variables with more values than this are measurements, and may have fewer values afterwards."""


def losses(
    old: Verdict, new: Verdict, candidate: Candidate
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """In words: switches between modes that became impossible, rules that are never taken any more
    though they were not changed, and states and values that are not reached in some mode any more.
    What the scenario of a finding ends with that is gone comes second: it was part of what was
    wrong, though perhaps a good part.
    """
    lost: list[str] = []
    given_up: list[str] = []
    touched = frozenset().union(*(one.about for one in candidate.changes))
    redefined = {name for chip, name in touched if not chip}
    for before, after in zip(old.explored, new.explored, strict=True):
        lost += _switches(before, after, redefined)
        places = _lost_places(before, after, redefined)
        excused = _where_findings_end(old, new, before)
        lost += _told_places(places - excused)
        given_up += _told_places(places & excused)
    taken = joined(one.coverage for one in old.explored).taken
    left = joined(one.coverage for one in new.explored).taken
    lost += (
        f"{chip}.{rule} is never taken"
        for chip, rule in sorted(taken - left)
        if (unnumbered(chip), unnumbered(rule)) not in touched
    )
    return tuple(lost), tuple(given_up)


def _switches(before: Explored, after: Explored, redefined: set[str]) -> Iterator[str]:
    possible = {(one.source, one.target): one.direct for one in after.switches if one.possible}
    for one in before.switches:
        pair = one.source, one.target
        if redefined.intersection(pair):
            continue
        if one.possible and pair not in possible:
            yield f"no path leads from {one.source} to {one.target}"
        elif one.possible and one.direct and not possible[pair]:
            yield f"{one.source} leads to {one.target} only by way of another mode"


def _lost_places(before: Explored, after: Explored, redefined: set[str]) -> set[Place]:
    gone = places_of(before.exploration) - places_of(after.exploration)
    return {one for one in gone if one[0] not in redefined}


def _told_places(places: set[Place]) -> Iterator[str]:
    everywhere = {one[1:] for one in places if not one[0]}
    lost = sorted(one for one in places if not one[0] or one[1:] not in everywhere)
    for mode, chip, state in lost[:PLACES_TOLD]:
        yield f"{chip}: {state} is never reached{f' in {mode}' if mode else ''}"
    if len(lost) > PLACES_TOLD:
        yield f"{len(lost) - PLACES_TOLD} more states are not reached"


def places_of(space: Space) -> set[Place]:
    """Every state of every chip, and every value of its variables, with each mode in which it is
    reached.
    """
    product = space.product
    fields = [
        (number, product.chips[one.owner].name, one)
        for number, one in enumerate(product.fields)
        if one.owner >= 0 and (one.type is None or one.high - one.low < MOST_VALUES)
    ]
    modes = {mode: space.mark(f"mode:{mode}") for mode in product.device.modes}
    found: set[Place] = set()
    for mode, mark in (("", 0), *modes.items()):
        numbers = list(space.numbered(mark)) if mark else None
        for number, chip, one in fields:
            values = set(_values(space, number, numbers))
            found |= {(mode, chip, _told(product, one, value)) for value in values}
    return found


def _values(space: Space, field: int, numbers: list[int] | None) -> Iterable[int]:
    column = space.column(field, space.state_count)
    return column if numbers is None else (column[number] for number in numbers)


def _told(product: Product, field: Field, value: int) -> str:
    """A state, or a variable with a value, in words."""
    chip = product.chips[field.owner]
    if field.type is None:
        known = 0 <= value < len(chip.leaves) and field.name == f"{chip.name}.state"
        return chip.leaves[value] if known else f"{field.name} = {value}"
    name = field.name.removeprefix(f"{chip.name}.")
    return f"{name} = {_spelled(field.type, value)}"


def _spelled(kind: ValueType, value: int) -> str:
    return str(bool(value)).lower() if kind.kind == "truth" else kind.spell(value)


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
        product = finding.trace.product
        after = [one.step.after for one in finding.trace.steps if one.step.after is not None]
        for value, field in zip(
            after[-1] if after else product.initial, product.fields, strict=False
        ):
            if field.owner >= 0:
                told = _told(product, field, value)
                found |= {(mode, product.chips[field.owner].name, told) for mode in modes}
    return found
