"""A test bench: implementations of some chips of a device, while the model plays all the others.

Every step is one that the model allows; a chip under test is given its part of it, and is then
compared with its model.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence

from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.model.errors import InputError, InvalidInput, nearest_name
from modecheck.model.parts import Device
from modecheck.model.starts import need_one_start
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from modecheck.scenario.sentences import sentence
from modecheck.testing.adapter import Adapter, Event, Output
from modecheck.testing.mismatches import Disagreement, differences
from modecheck.testing.stimuli import Seat, changed

NOTHING = "nothing more happens"
"""The only choice when the model has no step left."""

MOST_KNOWN = 5_000
"""States whose steps are cached, since random runs visit the same ones again and again: some tens
of MB for a large device.
"""


class ConformanceRun:
    """`make_adapter` is called once for each chip with its name; every run begins with `reset`, and
    in the first of all states in which the device may begin.

    `alphabet` holds the names of all steps, `choices` those of the steps that are possible now.
    """

    def __init__(
        self, device: Device, chips: str | Sequence[str], make_adapter: Callable[[str], Adapter]
    ) -> None:
        names = (chips,) if isinstance(chips, str) else tuple(chips)
        _check(device, names)
        need_one_start(device, "an implementation starts in one", names)
        self.product = compose(device)
        self._interpreter = Interpreter(self.product)
        self.seats = {name: Seat(self.product, list(device.chips).index(name)) for name in names}
        self._make_adapter = make_adapter
        self._adapters: dict[str, Adapter] = {}
        self.alphabet = tuple(_alphabet(self.product))
        self.state: State = self.product.initial
        self.choices: dict[str, Step | None] = {}
        self._known: dict[State, dict[str, Step | None]] = {}
        self._walk: list[Step] = []

    def begin(self) -> None:
        """A new run. Raises `Disagreement` if an implementation starts out differently from its
        model.
        """
        for name in self.seats:
            if name not in self._adapters:
                self._adapters[name] = self._make_adapter(name)
        self._walk = []
        self._reach(self.product.initial)
        for name, seat in self.seats.items():
            self._adapters[name].reset()
            self._hold(name, changed({}, seat.sights(self.state)), [])

    def take(self, choice: str) -> None:
        """A step, by its name in `choices`. Raises `Disagreement`."""
        step = self.choices[choice]
        if step is None:
            return
        before = self.state
        assert step.after is not None
        self._walk.append(step)
        self._reach(step.after)
        for name, seat in self.seats.items():
            self._hold(name, seat.given(step, before), seat.outputs(step))

    def _hold(self, name: str, given: Sequence[Event], expected: list[Output]) -> None:
        """Give events to an implementation, and compare what it made of them."""
        adapter = self._adapters[name]
        try:
            for event in given:
                adapter.give(event)
            found = differences(self.seats[name], self.state, expected, adapter)
        except Exception as error:
            lines = [f"the adapter of {name} failed after", *self._told(), f"given {given!r}"]
            error.add_note("\n".join(lines))
            raise
        if found:
            raise Disagreement(name, self._told(), tuple(given), found)

    def _told(self) -> tuple[str, ...]:
        """The run so far, a sentence for each step."""
        return tuple(sentence(self.product, step) for step in self._walk)

    def _reach(self, state: State) -> None:
        self.state = state
        if state not in self._known:
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            self._known[state] = self._choices_at(state)
        self.choices = self._known[state]

    def _choices_at(self, state: State) -> dict[str, Step | None]:
        choices: dict[str, Step | None] = {}
        named = Counter[str]()
        for step in self._interpreter.steps(state):
            if all(seat.can_be_given(step) for seat in self.seats.values()):
                text = self.product.labels[step.label].text
                named[text] += 1
                choices[_named(text, named[text])] = step
        return choices or {NOTHING: None}


def _alphabet(product: Product) -> Iterator[str]:
    """The names of all steps that there can be, in a fixed order."""
    budgets = Counter(fault.label for fault in product.faults)
    for number, label in enumerate(product.labels):
        if label.kind == "start":
            continue
        for again in range(1, max(budgets[number], 1) + 1):
            yield _named(label.text, again)
    yield NOTHING


def _named(label: str, again: int) -> str:
    """A fault that two budgets allow is two steps of one label."""
    return f"{label}, budget {again}" if again > 1 else label


def _check(device: Device, names: Sequence[str]) -> None:
    known = list(device.chips)
    errors = [
        InputError(
            f"{device.name} has no chip {name!r}",
            device.place,
            f"one of {', '.join(known)}",
            nearest_name(name, known),
        )
        for name in names
        if name not in known
    ]
    if not names:
        errors = [InputError("no chip to test is named", device.place)]
    if errors:
        raise InvalidInput(errors)
