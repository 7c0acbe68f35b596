"""A moment of a device, and the worth of a term in it."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import product
from math import floor
from typing import NamedTuple

from modecheck.model.parts import Chip, Device, Rule
from modecheck.model.terms import (
    Constant,
    InState,
    IsLate,
    Operation,
    Payload,
    ReadVariable,
    Term,
)
from tests.second_reading.statechart import branches


class Waiting(NamedTuple):
    """A message in a link; `late` when it was sent in an older session, `age` ticks ago."""

    message: str
    value: int
    late: bool
    age: int = 0


class Forbidden(Exception):
    """Something happens that must not happen: the code and the subject of the finding."""

    def __init__(self, code: str, subject: str) -> None:
        super().__init__(f"{code}:{subject}")
        self.code = code
        self.subject = subject


@dataclass
class World:
    """Where each chip is, what each variable holds, what waits in each link (its head first), how
    often each group of faults may still strike, in all and in a row on a link; for how long each
    rule of a chip has waited in each state that the chip is in, and for how long each timer runs,
    if it does.
    """

    at: dict[str, str]
    holds: dict[tuple[str, str], tuple[int, ...]]
    waits: dict[str, tuple[Waiting, ...]]
    left: dict[int, int]
    in_a_row: dict[tuple[int, str], int]
    waited: dict[tuple[str, str, str], int] = field(default_factory=dict)
    runs: dict[tuple[str, str], int | None] = field(default_factory=dict)

    def copy(self) -> World:
        """A world that can be changed without changing this one."""
        return World(
            dict(self.at),
            dict(self.holds),
            dict(self.waits),
            dict(self.left),
            dict(self.in_a_row),
            dict(self.waited),
            dict(self.runs),
        )

    @property
    def key(self) -> Hashable:
        """Equal for equal worlds of one device, and for no others."""
        return (
            tuple(self.at.values()),
            tuple(self.holds.values()),
            tuple(self.waits.values()),
            tuple(self.left.values()),
            tuple(sorted(self.in_a_row.items())),
            tuple(sorted(self.waited.items())),
            tuple(sorted(self.runs.items(), key=lambda item: item[0])),
        )


def first_worlds(device: Device) -> Iterator[World]:
    """Where everything may begin: initial states, start values, empty links, whole budgets."""
    for begun in product(*map(beginnings, device.chips.values())):
        names = list(device.chips)
        yield _begun(
            device,
            {name: at for name, (at, _) in zip(names, begun, strict=True)},
            {
                (name, variable): values
                for name, (_, holds) in zip(names, begun, strict=True)
                for variable, values in holds.items()
            },
        )


def beginnings(chip: Chip, *, again: bool = False) -> list[tuple[str, dict[str, tuple[int, ...]]]]:
    """Each way in which a chip may begin: where, and with which values; `again`, after a power cut,
    only those of what is not persistent.
    """
    ways: list[dict[str, tuple[int, ...]]] = [{}]
    for name, variable in chip.variables.items():
        if not (again and variable.persistent):
            choices = variable.choices or [[value] for value in variable.start]
            ways = [{**way, name: values} for way in ways for values in product(*choices)]
    places = [innermost(chip, state) for state in chip.initials or [chip.initial]]
    return [(at, way) for at in places for way in ways]


def _begun(
    device: Device, at: dict[str, str], holds: dict[tuple[str, str], tuple[int, ...]]
) -> World:
    return World(
        at=at,
        holds=holds,
        waits=dict.fromkeys(device.links, ()),
        left={n: g.at_most for n, g in enumerate(device.faults) if g.at_most is not None},
        in_a_row={
            (n, link): g.at_most_in_a_row
            for n, g in enumerate(device.faults)
            if g.at_most_in_a_row is not None
            for link in g.targets
        },
    )


def innermost(chip: Chip, state: str) -> str:
    """Where a chip is that enters a state: down the initial states."""
    while chip.states[state].children:
        inside = chip.states[state].initial
        assert inside is not None
        state = inside
    return state


@dataclass(frozen=True)
class View:
    """What a chip sees when it judges: its own variables as they are `now`, all else as it was
    when the step began to concern the chip. `value` and `late` are those of its message.
    """

    chip: str
    now: World
    seen: World
    value: int = 0
    late: bool = False

    def at(self, now: World) -> View:
        return replace(self, now=now)

    def of(self, owner: str) -> World:
        return self.now if owner == self.chip else self.seen


def worth(term: Term, view: View) -> int:
    """The value of a term; truth is 1. Raises `Forbidden` when an index leaves its list."""
    if isinstance(term, Constant):
        return term.value
    if isinstance(term, ReadVariable):
        items = view.of(term.chip).holds[term.chip, term.variable]
        position = 0 if term.index is None else worth(term.index, view)
        if position not in range(len(items)):
            raise Forbidden("out-of-range", f"{term.chip}.{term.variable}")
        return items[position]
    if isinstance(term, InState):
        return int(view.of(term.chip).at[term.chip] in term.leaves)
    if isinstance(term, Payload):
        return view.value
    if isinstance(term, IsLate):
        return int(view.late)
    assert isinstance(term, Operation), "what happens in a step is asked for in requirements only"
    return _operation(term, view)


def wants(chip: Chip, rule: Rule, view: View) -> bool:
    """Whether a rule's condition holds; of the branches of a rule only the first that can be."""
    if rule.branch is None:
        return rule.guard is None or bool(worth(rule.guard, view))
    if rule.branch.given is not None and not worth(rule.branch.given, view):
        return False
    for branch in branches(chip, rule):
        if branch.guard is None or worth(branch.guard, view):
            return branch is rule
        if branch is rule:
            return False
    raise AssertionError("a branch is among those of its rule")


def _operation(term: Operation, view: View) -> int:
    arguments = term.arguments
    if term.operator == "and":
        return int(all(worth(argument, view) for argument in arguments))
    if term.operator == "or":
        return int(any(worth(argument, view) for argument in arguments))
    if term.operator == "if":
        return worth(arguments[1] if worth(arguments[0], view) else arguments[2], view)
    values = [worth(argument, view) for argument in arguments]
    if term.operator in ("not", "neg"):
        return 1 - values[0] if term.operator == "not" else -values[0]
    if term.operator in ("min", "max"):
        return min(values) if term.operator == "min" else max(values)
    one, two = values
    results = {
        "+": one + two,
        "-": one - two,
        "*": one * two,
        "//": floor(Fraction(one, two or 1)),
        "%": one - (two or 1) * floor(Fraction(one, two or 1)),
        "==": one == two,
        "!=": one != two,
        "<": one < two,
        "<=": one <= two,
        ">": one > two,
        ">=": one >= two,
    }
    return int(results[term.operator])


def holds_in(term: Term | None, world: World) -> bool:
    """Whether a condition on the whole device holds; one that cannot be judged does not."""
    try:
        return term is None or bool(worth(term, View("", world, world)))
    except Forbidden:
        return False
