"""What is watched while walking: faults that show in one state, in one step, or where all ends.

A `WatchList` says it in marks (bits of the product's conditions), labels and events, so that any
engine can look without knowing what a bond or a requirement is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.reference.system_actions import Drives
from modecheck.product.ir import Product

Pattern = tuple[tuple[int, int], ...]
"""Fields with their values."""

Run = list[tuple[int, State | None]]
"""Steps from the initial state: a label and the state behind it, None behind a failing step."""

STATE, RESTING, LOSS, CHANGE, TIME_STOP, FAILING, DEADLOCK, AT = (
    "state",
    "resting",
    "loss",
    "change",
    "time-stop",
    "failing",
    "deadlock",
    "at",
)


@dataclass(frozen=True, slots=True)
class WalkTarget:
    """Something that was seen: a named test of the list, or a failing step (`name` is then its code
    and subject), or a state with the values of `pattern` (with `DEADLOCK`, one that nobody leaves).
    All states in which time stops are one target, so that the nearest of them is reported.
    """

    kind: str
    name: str = ""
    pattern: Pattern = ()


@dataclass(frozen=True, slots=True)
class WatchList:
    """What to look for. Pairs of marks are (all of these, none of those) in `states` and `resting`,
    (some of these lost, unless one of these events happens) in `losses`, (before, after) in
    `changes`. What is `resting` counts only where no step has a label in `busy`, but
    in place.

    `rests` is the mark of states in which the device rests, `due` that of states in which a rule
    has to be taken before time goes on; `modes` are marks, one for each mode. `groups` are
    labels that a walk may hold back together: those of an actor, or of a fault; `choices` are those
    of observers, which a walk puts off for a while.
    """

    states: dict[str, tuple[int, int]] = field(default_factory=dict)
    resting: dict[str, tuple[int, int]] = field(default_factory=dict)
    losses: dict[str, tuple[int, int]] = field(default_factory=dict)
    changes: dict[str, tuple[int, int]] = field(default_factory=dict)
    rests: int = 0
    due: int = 0
    busy: frozenset[int] = frozenset()
    modes: tuple[int, ...] = ()
    groups: tuple[frozenset[int], ...] = ()
    choices: frozenset[int] = frozenset()


def failing_target(code: str, subject: str) -> WalkTarget:
    """The sight of a failing step."""
    return WalkTarget(FAILING, f"{code}:{subject}")


def waiting_pattern(product: Product, state: State) -> Pattern:
    """Why a deadlocked state does not rest: the chips that are in no rest state, with their leaves;
    where all chips rest, the heads of queues.
    """
    chips = tuple(
        (chip.state_field, state[chip.state_field])
        for chip in product.chips
        if not chip.actor and not chip.rests[state[chip.state_field]]
    )
    heads = (queue.slots[0].code for queue in product.queues)
    return chips or tuple((head, state[head]) for head in heads if state[head])


class Judge:
    """Looks at states and steps of one product, on the interpreter."""

    def __init__(self, product: Product, watched: WatchList, interpreter: Interpreter) -> None:
        self._product = product
        self._watched = watched
        self._interpreter = interpreter
        self._by_system = Drives(product)
        self._conditions = list(product.conditions.values())
        self._marks: dict[State, int] = {}

    def marks(self, state: State) -> int:
        """The bits of all conditions that hold in a state."""
        known = self._marks.get(state)
        if known is None:
            holds = self._interpreter.condition
            known = sum(holds(c, state) << bit for bit, c in enumerate(self._conditions))
            if len(self._marks) > MOST_REMEMBERED:
                self._marks.clear()
            self._marks[state] = known
        return known

    def in_state(self, state: State) -> Iterator[WalkTarget]:
        """What shows in a state alone."""
        marks = self.marks(state)
        for name, (wanted, unwanted) in self._watched.states.items():
            if marks & (wanted | unwanted) == wanted:
                yield WalkTarget(STATE, name)

    def in_steps(self, state: State, steps: Sequence[Step]) -> Iterator[tuple[WalkTarget, int]]:
        """What shows when all steps of a state are known, with the number of the step, or -1."""
        marks = self.marks(state)
        if not any(self._is_busy(state, step) for step in steps):
            for name, (wanted, unwanted) in self._watched.resting.items():
                if marks & (wanted | unwanted) == wanted:
                    yield WalkTarget(RESTING, name), -1
        goes_on = self._by_system.keeps_going
        if not any(goes_on(step.label, state, step.after) for step in steps):
            if marks & self._watched.due:
                yield WalkTarget(TIME_STOP), -1
            elif not marks & self._watched.rests:
                yield WalkTarget(DEADLOCK, pattern=waiting_pattern(self._product, state)), -1
        for number, step in enumerate(steps):
            for target in self._in_step(marks, step):
                yield target, number

    def _is_busy(self, state: State, step: Step) -> bool:
        return step.label in self._watched.busy and self._by_system.changes(state, step.after)

    def _in_step(self, marks: int, step: Step) -> Iterator[WalkTarget]:
        if step.after is None:
            for failure in step.failures:
                yield failing_target(failure.code, failure.subject)
            return
        behind = self.marks(step.after)
        yield from self.in_state(step.after)
        for name, (lost, events) in self._watched.losses.items():
            if marks & ~behind & lost and not step.events & events:
                yield WalkTarget(LOSS, name)
        for name, (before, after) in self._watched.changes.items():
            if marks & before and behind & after:
                yield WalkTarget(CHANGE, name)


MOST_REMEMBERED = 100_000
"""States whose marks are remembered: those near a run come again and again."""


def is_target(target: WalkTarget, wanted: WalkTarget) -> bool:
    """Whether what was seen is what was wanted; a deadlock may have more chips waiting in it."""
    if target.kind == wanted.kind == DEADLOCK:
        return set(wanted.pattern) <= set(target.pattern)
    return target == wanted
