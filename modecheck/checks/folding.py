"""Fold a product: states that agree in chosen modes, states or variables become one.

From one folded state a step leads to another where from *some* state in the first a step leads to
some state in the second: the existential quotient, in which every behaviour of the product can be
followed, and some that the product does not have (Clarke, Grumberg and Long 1994). Where *every*
state in the first has such a step, the step says so.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from modecheck.checks.mode_switches import mode_bits
from modecheck.engine.contract.space import INITIAL, Space
from modecheck.model.errors import InputError, InvalidInput, nearest_name
from modecheck.product.ir import Product

MOST_STATES = 300_000
"""The most states that are folded, the nearest first: about ten seconds. With more the folding is
incomplete.
"""

MODE = "mode"
"""The part that folds by the modes of the device."""

Key = tuple[str, ...]


@dataclass(slots=True)
class Folded:
    """States that agree: their values of the chosen parts, and how many they are.

    `inside` counts the transitions between two of them, `unexpanded` the states whose steps are not
    known.
    """

    key: Key
    states: int = 0
    inside: int = 0
    unexpanded: int = 0


@dataclass(slots=True)
class FoldedStep:
    """Steps from one folded state to another: their labels, the number of transitions in which each
    occurs, and the number of source states that have one.
    """

    source: int
    target: int
    labels: dict[int, int] = field(default_factory=dict)
    states: int = 0
    last: int = -1


@dataclass(frozen=True, slots=True)
class Folding:
    """A folded product. `parts` are those that were chosen; the first of `states` is initial, and
    so are all in `starts`.
    """

    product: Product
    parts: tuple[str, ...]
    states: tuple[Folded, ...]
    steps: tuple[FoldedStep, ...]
    complete: bool
    starts: tuple[int, ...]

    def is_certain(self, step: FoldedStep) -> bool:
        """Whether every state in its source has such a step."""
        return step.states == self.states[step.source].states


def fold(space: Space, parts: Sequence[str], most: int = MOST_STATES) -> Folding:
    """Fold the first `most` states of a space by modes, states or variables.

    A part is `mode`, `CHIP.state` or `CHIP.VARIABLE`. Raises `InvalidInput` for any other part.
    """
    looked_at = min(space.state_count, most)
    key_of = _key_function(space, parts, looked_at)
    numbers: dict[Key, int] = {}
    states: list[Folded] = []
    folded: list[int] = []
    for number in range(looked_at):
        key = key_of(number)
        where = numbers.setdefault(key, len(states))
        if where == len(states):
            states.append(Folded(key))
        states[where].states += 1
        folded.append(where)
    steps: dict[tuple[int, int], FoldedStep] = {}
    for number in range(looked_at):
        if number >= space.expanded:
            states[folded[number]].unexpanded += 1
            continue
        for edge in space.edges_from(number):
            if edge.target >= looked_at:
                continue
            source, target = folded[number], folded[edge.target]
            if source == target:
                states[source].inside += 1
                continue
            step = steps.setdefault((source, target), FoldedStep(source, target))
            step.labels[edge.label] = step.labels.get(edge.label, 0) + 1
            if step.last != number:
                step.last = number
                step.states += 1
    assert not folded or folded[INITIAL] == 0
    whole = space.complete and space.state_count <= most
    starts = tuple(dict.fromkeys(folded[number] for number in space.starts if number < looked_at))
    arrows = tuple(steps.values())
    return Folding(space.product, tuple(parts), tuple(states), arrows, whole, starts)


def _key_function(space: Space, parts: Sequence[str], count: int) -> Callable[[int], Key]:
    known = parts_known(space.product)
    errors = [_unknown(part, known) for part in parts if part not in known]
    if errors:
        raise InvalidInput(errors)
    readers = [_reader(space, part, count) for part in parts]
    return lambda number: tuple(reader(number) for reader in readers)


def parts_known(product: Product) -> list[str]:
    """All parts that a product can be folded by."""
    own = [field.name for field in product.fields if field.owner >= 0]
    return [*([MODE] if product.device.modes else []), *own]


def _unknown(part: str, known: list[str]) -> InputError:
    expected = "'mode', CHIP.state or CHIP.VARIABLE"
    return InputError(f"cannot fold by {part!r}", None, expected, nearest_name(part, known))


def _reader(space: Space, part: str, count: int) -> Callable[[int], str]:
    if part == MODE:
        bits = mode_bits(space)
        return lambda number: " and ".join(bits.names(space.marks_at(number))) or "no mode"
    names = [field.name for field in space.product.fields]
    where = names.index(part)
    values = space.column(where, count)
    for chip in space.product.chips:
        if chip.state_field == where:
            return lambda number: chip.leaves[values[number]]
    type_ = space.product.fields[where].type
    assert type_ is not None
    return lambda number: type_.spell(values[number])
