"""What an observer sees of an explored device, as a labelled system.

Visible are chosen messages, signals and rules; all else is a silent step. A message is seen twice:
when it is put into its link ("sent") and when it leaves it for its receiver ("delivered"). Its
value is seen with it: when it is delivered, that of the head of the link; when it is sent, that
which the last place of the link that holds such a message has after the step. So of two messages of
one name that one step puts into one link only the last one's value is seen, and of relative
messages that are joined the sum. Lost and doubled messages are not seen.

What happens in one step is seen together, in no order. A step that must not happen (no answer, no
room, out of range) is seen as one, and leads nowhere.

In a mode, only what happens in steps that begin in it is seen, and entering and leaving it.

Of two devices in which the same has another name, one is told in the words of the other (`Called`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from modecheck.checks.ways import Move, Way
from modecheck.compare.forms import Name
from modecheck.compare.labelled import SILENT_NAME, Array, LabelledSystem
from modecheck.engine.exploration import Exploration
from modecheck.engine.plain import Interpreter
from modecheck.engine.space import INITIAL, Space
from modecheck.model.mistakes import ModecheckError
from modecheck.product.form import EventForm, MessageForm, MessageIn, Product

MOST_VISIBLE = 31
"""Events that a step can report: a kind of transition has so many bits for them."""
FAILS = "a step fails"


class TooMuchVisible(ModecheckError):
    """More was chosen than a step can report."""

    def __init__(self, chosen: int) -> None:
        super().__init__()
        self.chosen = chosen

    def __str__(self) -> str:
        return (
            f"{self.chosen} messages, signals and rules were chosen to be seen, and at most "
            f"{MOST_VISIBLE} can be; choose fewer media"
        )


class NotExplored(ModecheckError):
    """Not all states and transitions are known, so nothing can be said about equivalence."""

    def __init__(self, reason: str) -> None:
        super().__init__()
        self.reason = reason

    def __str__(self) -> str:
        return f"the comparison is incomplete: exploration was stopped by {self.reason}"


@dataclass(frozen=True, slots=True)
class Visible:
    """What is seen, by number: messages in their queues, signals, and rules."""

    messages: frozenset[MessageIn] = frozenset()
    signals: frozenset[int] = frozenset()
    rules: frozenset[int] = frozenset()

    def __or__(self, other: Visible) -> Visible:
        """What is seen by the one or the other."""
        return Visible(
            self.messages | other.messages, self.signals | other.signals, self.rules | other.rules
        )

    def __len__(self) -> int:
        return len(self.messages) + len(self.signals) + len(self.rules)


@dataclass(frozen=True, slots=True)
class Called:
    """Other names for what is seen: links, messages by their link, modes, signals, rules by their
    chip. What is not named keeps its own name.
    """

    names: Mapping[Name, Name] = field(default_factory=dict)

    def __call__(self, kind: str, name: str, scope: str = "") -> str:
        """What something is called."""
        other = self.names.get(Name(kind, name, scope))
        return name if other is None else other.name


OWN_NAMES = Called()


def messages_over(product: Product, media: Iterable[str]) -> Visible:
    """All messages of the links of some media."""
    links, chosen = product.device.links, frozenset(media)
    return Visible(
        frozenset(
            (number, code)
            for number, queue in enumerate(product.queues)
            if links[queue.name].medium in chosen
            for code in range(1, len(queue.messages) + 1)
        )
    )


def signals_named(product: Product, names: Iterable[str]) -> Visible:
    """Some signals by name; names that the product does not have are left out."""
    known = set(names)
    return Visible(
        signals=frozenset(n for n, signal in enumerate(product.signals) if signal in known)
    )


def rules_of(product: Product, chips: Iterable[str]) -> Visible:
    """All rules of some chips."""
    known = set(chips)
    return Visible(rules=frozenset(n for n, rule in enumerate(product.rules) if rule.chip in known))


def reporting(product: Product, visible: Visible) -> Product:
    """The product, which reports what is visible in its steps instead of what checks watch.

    It has to be explored without symmetry: of units that were exchanged, nobody could tell whose
    message was seen. Raises `TooMuchVisible`.
    """
    assert not product.watchers, "a watcher's atoms count on the numbers of the events"
    if len(visible) > MOST_VISIBLE:
        raise TooMuchVisible(len(visible))
    forms = tuple(_form(one) for one in _in_order(visible))
    names = tuple(f"visible {number}" for number in range(len(forms)))
    return replace(product, events=forms, watched_events=names)


_Chosen = tuple[str, int, int]
"""A message by its queue and code, a signal or a rule by number and 0."""


def _in_order(visible: Visible) -> list[_Chosen]:
    """What is visible, in the order of the bits by which a step reports it."""
    return [
        *(("message", queue, code) for queue, code in sorted(visible.messages)),
        *(("signal", number, 0) for number in sorted(visible.signals)),
        *(("rule", number, 0) for number in sorted(visible.rules)),
    ]


def _form(chosen: _Chosen) -> EventForm:
    kind, number, code = chosen
    if kind == "message":
        return EventForm(accepted=frozenset({(number, code)}))
    if kind == "signal":
        return EventForm(raised=frozenset({number}))
    return EventForm(taken=frozenset({number}))


@dataclass(frozen=True, slots=True)
class _Seen:
    """Something seen in a step. A message's value stands in the state before the step if it was
    `delivered`, else in the one behind it.
    """

    text: str
    after: str = ""
    message: MessageIn | None = None
    delivered: bool = False


def _seen(product: Product, chosen: _Chosen, called: Called) -> _Seen:
    kind, number, code = chosen
    if kind == "message":
        return _seen_message(product, "sent", (number, code), called)
    if kind == "signal":
        return _Seen(f"raised {called('signal', product.signals[number])}")
    rule = product.rules[number]
    return _Seen(f"{called('chip', rule.chip)} takes {called('rule', rule.title, rule.chip)}")


def _seen_message(product: Product, what: str, message: MessageIn, called: Called) -> _Seen:
    queue = product.queues[message[0]]
    name = called("message", queue.messages[message[1] - 1].name, queue.name)
    via = called("link", queue.name)
    return _Seen(f"{what} {name}", f" via {via}", message, what == "delivered")


@dataclass(slots=True)
class _Steps:
    """All transitions; `kinds[i]` says of what kind transition `i` is, with a product's label and
    the bits of what it reports. `failing` tells of each state whether a step fails in it.
    """

    sources: Array
    targets: Array
    kinds: Array
    labels: list[int]
    events: list[int]
    failing: Array


def labelled_from(space: Space, visible: Visible, mode: str | None = None) -> LabelledSystem:
    """What is seen of a space whose product is `reporting` it. Raises `NotExplored`."""
    return Observation(space, visible).system(visible, mode)


class Observation:
    """A space whose product is `reporting` something, to be looked at more than once.

    Raises `NotExplored`.
    """

    def __init__(self, space: Space, reported: Visible, called: Called = OWN_NAMES) -> None:
        if not space.complete:
            raise NotExplored(space.stopped_by)
        self.space = space
        self.product = space.product
        self.called = called
        self.steps = (
            _plain_steps(space) if isinstance(space, Exploration) else _compiled_steps(space)
        )
        self.bits = {chosen: bit for bit, chosen in enumerate(_in_order(reported))}
        self._columns: dict[int, Array] = {}

    def system(self, visible: Visible, mode: str | None = None) -> LabelledSystem:
        """What is seen by somebody who sees a part of what is reported."""
        modes = () if mode is None else (mode,)
        return _Reading(self, visible, modes, told=False).system()

    def system_with_modes(self, visible: Visible, modes: Sequence[str]) -> LabelledSystem:
        """What is seen by somebody who also sees of each event in which of these modes it begins,
        and of each step which of them it enters and leaves.

        What is seen in one mode, or without modes, is this with some events renamed and others
        made silent. Strong, branching and weak bisimulation are kept by that: two devices that are
        equivalent here are equivalent in each mode, and as a whole.
        """
        return _Reading(self, visible, tuple(modes), told=True).system()

    def way(self, system: LabelledSystem, run: Iterable[int]) -> Way:
        """A run of one of its systems from the initial state, given by numbers of transitions."""
        return Way(tuple(self._move(system, number) for number in run))

    def _move(self, system: LabelledSystem, number: int) -> Move:
        steps = self.steps
        if number < steps.sources.size:
            label = steps.labels[int(steps.kinds[number])]
            return Move(label, self.space.state(int(steps.targets[number])))
        state = self.space.state(int(system.sources[number]))
        found = Interpreter(self.product).steps(state)
        return Move(next(step.label for step in found if step.after is None), None)

    def column(self, number: int) -> Array:
        """The values of a field in all states."""
        if number not in self._columns:
            values = self.space.column(number, self.space.state_count)
            self._columns[number] = np.array(values, np.int64)
        return self._columns[number]


def _plain_steps(space: Exploration) -> _Steps:
    numbers: dict[tuple[int, int], int] = {}
    rows = [
        (number, edge.target, numbers.setdefault((edge.label, edge.events), len(numbers)))
        for number in range(space.expanded)
        for edge in space.edges_from(number)
    ]
    sources, targets, kinds = np.array(rows, np.int32).reshape(-1, 3).T
    failing = np.frombuffer(space.failing, np.uint8)
    labels, events = [key[0] for key in numbers], [key[1] for key in numbers]
    return _Steps(sources, targets, kinds, labels, events, failing)


def _compiled_steps(space: Space) -> _Steps:
    from modecheck.engine.compiled.exploration import CompiledExploration

    if not isinstance(space, CompiledExploration):
        raise TypeError("a reduced exploration does not show what is seen")
    graph = space.graph
    if graph.linked < space.state_count:
        raise NotExplored("lack of memory for the transitions")
    sources = np.repeat(np.arange(graph.linked, dtype=np.int32), np.diff(graph.first))
    return _Steps(
        sources,
        graph.targets.astype(np.int32),
        graph.notes,
        graph.labels.tolist(),
        graph.events.tolist(),
        graph.failing,
    )


class _Reading:
    """What is seen in one mode, or without any; with all modes `told`, what is seen with them."""

    def __init__(
        self, observed: Observation, visible: Visible, modes: tuple[str, ...], *, told: bool
    ) -> None:
        self._observed = observed
        self._space = observed.space
        self._product = observed.product
        self._visible = visible
        self._steps = observed.steps
        self._modes = [(mode, observed.called("mode", mode)) for mode in modes]
        self._told = told
        self._inside, self._places = self._whereabouts()
        called = observed.called
        self._reported = [
            (observed.bits[chosen], _seen(self._product, chosen, called))
            for chosen in _in_order(visible)
        ]
        self._numbers = {SILENT_NAME: 0}

    def system(self) -> LabelledSystem:
        steps = self._steps
        labels = np.zeros(steps.sources.size, np.int32)
        many = len(self._places)
        inside = self._inside[steps.sources] * many + self._inside[steps.targets]
        groups = steps.kinds.astype(np.int64) * many * many + inside
        order = np.argsort(groups, kind="stable")
        bounds = np.flatnonzero(np.diff(groups[order], prepend=-1, append=-1))
        for begin, end in pairwise(bounds.tolist()):
            self._name(order[begin:end], int(groups[order[begin]]), labels)
        failing = np.flatnonzero(steps.failing).astype(np.int32)
        places, which = np.unique(self._inside[failing], return_inverse=True)
        seen = [self._failing_in(self._places[place]) for place in places.tolist()]
        fails = np.array(seen, np.int32)[which.reshape(-1)]
        failing, fails = failing[fails >= 0], fails[fails >= 0]
        return LabelledSystem(
            self._space.state_count,
            INITIAL,
            np.concatenate([steps.sources, failing]),
            np.concatenate([labels, fails]),
            np.concatenate([steps.targets, failing]),
            tuple(self._numbers),
        )

    def _failing_in(self, place: frozenset[str]) -> int:
        """The label of a step that fails in some modes; -1 where nobody sees it."""
        return self._number(f"{FAILS}{self._in(place)}") if self._sees(place) else -1

    def _whereabouts(self) -> tuple[Array, list[frozenset[str]]]:
        """For each state the number of the set of modes that it is in, and these sets."""
        bits = np.zeros(self._space.state_count, np.int64)
        for number, (mode, _) in enumerate(self._modes):
            inside = list(self._space.numbered(self._space.mark(f"mode:{mode}")))
            bits[inside] |= 1 << number
        found, which = np.unique(bits, return_inverse=True)
        places = [
            frozenset(name for number, (_, name) in enumerate(self._modes) if place >> number & 1)
            for place in found.tolist()
        ]
        return which.reshape(-1).astype(np.int64), places

    def _sees(self, place: frozenset[str]) -> bool:
        """Whether what begins in these modes is seen."""
        return self._told or not self._modes or bool(place)

    def _in(self, place: frozenset[str]) -> str:
        """The modes in which an event begins, where they are told."""
        return f" in {' and '.join(sorted(place)) or 'no mode'}" if self._told else ""

    def _number(self, name: str) -> int:
        return self._numbers.setdefault(name, len(self._numbers))

    def _name(self, these: Array, group: int, labels: Array) -> None:
        """Gives their labels to transitions of one kind that begin and end alike."""
        rest, ends = divmod(group, len(self._places))
        kind, begins = divmod(rest, len(self._places))
        before, after = self._places[begins], self._places[ends]
        seen = self._seen_in(kind) if self._sees(before) else []
        suffix = self._in(before) if seen else ""
        seen += (_Seen(f"enters {mode}") for mode in sorted(after - before))
        seen += (_Seen(f"leaves {mode}") for mode in sorted(before - after))
        if not seen:
            return
        valued = [(one, self._type(one)) for one in seen]
        values = np.stack([self._values(one, these) for one, _ in valued], axis=1)
        rows, which = np.unique(values, axis=0, return_inverse=True)
        names = np.empty(len(rows), np.int32)
        for number, row in enumerate(rows.tolist()):
            texts = (_spelled(one, form, v) for (one, form), v in zip(valued, row, strict=True))
            names[number] = self._number(" + ".join(sorted(texts)) + suffix)
        labels[these] = names[which.reshape(-1)]

    def _seen_in(self, kind: int) -> list[_Seen]:
        events = self._steps.events[kind]
        seen = [one for bit, one in self._reported if events >> bit & 1]
        label = self._product.labels[self._steps.labels[kind]]
        delivered = (label.queue, label.message)
        if label.kind in ("deliver", "ignore") and delivered in self._visible.messages:
            called = self._observed.called
            seen.append(_seen_message(self._product, "delivered", delivered, called))
        return seen

    def _type(self, one: _Seen) -> MessageForm | None:
        """The form of a message that has a value."""
        if one.message is None:
            return None
        queue, code = one.message
        form = self._product.queues[queue].messages[code - 1]
        return form if form.type is not None else None

    def _values(self, one: _Seen, these: Array) -> Array:
        """The value of what is seen in each of some transitions; 0 where it has none."""
        values = np.zeros(these.size, np.int64)
        if self._type(one) is None or one.message is None:
            return values
        queue, code = one.message
        slots = self._product.queues[queue].slots
        if one.delivered:
            return self._observed.column(slots[0].value)[self._steps.sources[these]]
        behind = self._steps.targets[these]
        for slot in slots:
            holds = self._observed.column(slot.code)[behind] == code
            values[holds] = self._observed.column(slot.value)[behind][holds]
        return values


def _spelled(one: _Seen, form: MessageForm | None, value: int) -> str:
    if form is None or form.type is None:
        return one.text + one.after
    return f"{one.text} = {form.type.spell(value)}{one.after}"
