"""A chip as a hierarchical machine of the library `transitions`.

The library decides which transition an event takes (innermost state first, then in the order of the
file) and which state is entered. Guards and effects are callbacks, which work on the fields of the
rig.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from modecheck.engine.evaluation import Evaluator, StepFailed
from modecheck.engine.happenings import Happening, SignalEmitted, Took
from modecheck.model.parts import Chip, Rule
from modecheck.product.ir import (
    ChipIR,
    Failure,
    FaultIR,
    Product,
    Reaction,
    SendIR,
    TargetIR,
)

try:
    from transitions.extensions import HierarchicalMachine
    from transitions.extensions.nesting import NestedState
except ImportError as missing:
    raise ImportError(
        "modecheck.machines needs the package transitions: "
        "install it with 'pip install transitions'"
    ) from missing

WHOLE = "whole chip"
"""A state around all others, which has the rules of the whole chip. No state of a model has a name
with a space, so this one cannot clash.
"""


class _PowerFails(Exception):
    """A cut strikes in the middle of a rule: the library does not go on with the transition."""


class Nested(NestedState):  # type: ignore[misc, unused-ignore]
    separator = "/"


class LibraryMachine(HierarchicalMachine):  # type: ignore[misc, unused-ignore]
    state_cls = Nested


@dataclass(slots=True)
class RigTurn:
    """One step of a rig in progress. `seen` are the fields on which reactions are judged,
    `cut` is a fault that strikes in the middle of a rule, after so many of its assignments.
    """

    seen: Sequence[int]
    value: int = 0
    late: bool = False
    heard: int = -1
    cut: tuple[FaultIR, int, int] | None = None
    struck: int = -1
    sends: list[tuple[SendIR, int]] = field(default_factory=list)
    signalled: list[tuple[int, int]] = field(default_factory=list)
    separate: list[tuple[int, Reaction]] = field(default_factory=list)
    log: list[Happening] = field(default_factory=list)
    chosen: list[Reaction] = field(default_factory=list)

    def all_of(self, parts: Iterable[Callable[[], object]]) -> None:
        """Do everything that happens at once; then raise `StepFailed` with whatever failed."""
        failures: list[Failure] = []
        for part in parts:
            try:
                part()
            except StepFailed as failed:
                failures += failed.failures
        if failures:
            raise StepFailed(*dict.fromkeys(failures))


class ChipMachine:
    """A chip (number) of a product, as the model of a machine, which is its attribute `machine`.

    Events are named `rule NAME` for what the chip does by itself, `signal NAME`, and `LINK MESSAGE`
    for what arrives. `fields` is the state of the product, shared by the whole rig.
    """

    state: str

    def __init__(
        self, number: int, product: Product, fields: list[int], evaluator: Evaluator
    ) -> None:
        self.number = number
        self.form: ChipIR = product.chips[number]
        self.chip: Chip = product.device.chips[self.form.name]
        self._product = product
        self._fields = fields
        self._evaluator = evaluator
        tops = [self._node(name) for name, state in self.chip.states.items() if not state.parent]
        self.machine = LibraryMachine(
            model=self,
            states=[{"name": WHOLE, "children": tops, "initial": self.chip.initial}],
            initial=WHOLE,
            auto_transitions=False,
            send_event=True,
            ignore_invalid_triggers=True,
        )
        reactions = {reaction.rule: reaction for reaction in self.form.reactions}
        for rule_number, rule in enumerate(product.rules):
            # Without a reaction its guard can never hold in this variant.
            if product.rule_chips[rule_number] == number and rule_number in reactions:
                self._add(rule, reactions[rule_number])

    @property
    def name(self) -> str:
        return self.form.name

    @property
    def leaf(self) -> str:
        """The innermost state that the chip is in, as the model names it."""
        return self.state.split("/")[-1]

    def put(self, leaf: str) -> None:
        """Put the chip into an innermost state, without any effect."""
        self.machine.set_state(self._path(leaf))

    def own_rules(self) -> Iterator[tuple[Rule, str]]:
        """What the chip may do by itself in its state, with the events that make it do so."""
        for rule in self.chip.rules_at(self.leaf):
            event = f"rule {rule.title}"
            if not rule.trigger and event in self.machine.events:
                yield rule, event

    def may(self, event: str, turn: RigTurn) -> bool:
        """Whether some transition for an event is enabled. Raises `StepFailed` from a guard."""
        can = event in self.machine.events
        return can and bool(self.may_trigger(event, turn=turn))  # type: ignore[attr-defined]

    def full(self, reactions: Sequence[Reaction], turn: RigTurn) -> list[Failure]:
        """The full links that alone keep some of these reactions, none of them enabled, from being
        so.
        """
        return [
            room.full
            for one in reactions
            if one.own_guard is None or self._value(one.own_guard, turn)
            for room in one.rooms
            if not self._value(room.free, turn)
        ]

    def tell(self, event: str, turn: RigTurn) -> bool:
        """An event happens; whether the chip takes a rule for it. Raises `StepFailed`."""
        if event not in self.machine.events:
            return False
        before = self._fields[self.form.state_field]
        try:
            if not self.trigger(event, turn=turn):  # type: ignore[attr-defined]
                return False
        except _PowerFails:
            return True  # before any state was entered
        reaction, after = turn.chosen[-1], self.form.leaves.index(self.leaf)
        self._fields[self.form.state_field] = after
        turn.log.append(Took(self.number, reaction.rule, before, after, turn.heard))
        for signal in reaction.signals:
            turn.signalled.append((signal, self.number))
            turn.log.append(SignalEmitted(self.number, signal))
        return True

    def _node(self, name: str) -> dict[str, Any]:
        state = self.chip.states[name]
        node: dict[str, Any] = {"name": name}
        if state.children:
            node["children"] = [self._node(child) for child in state.children]
            node["initial"] = state.initial
        return node

    def _path(self, name: str) -> str:
        parts = [name]
        while (parent := self.chip.states[parts[0]].parent) is not None:
            parts.insert(0, parent)
        return "/".join([WHOLE, *parts])

    def _add(self, rule: Rule, reaction: Reaction) -> None:
        for event in self._events(rule):
            for source in rule.sources or (None,):
                self.machine.add_transition(
                    event,
                    WHOLE if source is None else self._path(source),
                    None if rule.target is None else self._path(rule.target),
                    conditions=self._condition(reaction),
                    before=self._effect(reaction),
                )

    def _events(self, rule: Rule) -> Iterator[str]:
        if not rule.trigger:
            yield f"rule {rule.title}"
        for event in rule.trigger:
            if event.link is None:
                yield f"signal {event.name}"
            for link in self._product.device.links.values():
                arrives = link.receiver == self.name and event.name in link.carries
                if arrives and event.link in (None, link.name):
                    yield f"{link.name} {event.name}"

    def _condition(self, reaction: Reaction) -> Callable[[Any], bool]:
        def condition(event: Any) -> bool:
            turn: RigTurn = event.kwargs["turn"]
            return reaction.guard is None or bool(self._value(reaction.guard, turn))

        return condition

    def _effect(self, reaction: Reaction) -> Callable[[Any], None]:
        def effect(event: Any) -> None:
            self._react(reaction, event.kwargs["turn"])

        return effect

    def _value(self, expression: Any, turn: RigTurn) -> int:
        function = self._evaluator.function(expression, self.number)
        return int(function(self._fields, turn.seen, turn.value, turn.late))

    def _react(self, reaction: Reaction, turn: RigTurn) -> None:
        turn.chosen.append(reaction)
        if reaction.cuts:
            turn.separate.append((self.number, reaction))
        fault = turn.cut
        cut = fault is not None and (fault[0].target, fault[1]) == (self.number, reaction.rule)
        done = fault[2] if fault is not None and cut else len(reaction.assigns)
        for assign in reaction.assigns[:done]:
            values = [self._value(value, turn) for value in assign.values]
            places = [self._place(target, turn) for target in assign.targets]
            for target, place, value in zip(assign.targets, places, values, strict=True):
                if not target.low <= value <= target.high:
                    raise StepFailed(target.failure)
                self._fields[place] = value
        if cut:
            turn.struck = self.number
            raise _PowerFails
        turn.sends += [(send, self._sent(send, turn)) for send in reaction.sends]

    def _place(self, target: TargetIR, turn: RigTurn) -> int:
        if target.index is None:
            return target.first
        index = self._value(target.index, turn)
        if not 0 <= index < target.length:
            raise StepFailed(target.failure)
        return target.first + index

    def _sent(self, send: SendIR, turn: RigTurn) -> int:
        if send.value is None:
            return 0
        value = self._value(send.value, turn)
        form = self._product.queues[send.queue].messages[send.message - 1]
        if not form.low <= value <= form.high:
            raise StepFailed(send.value_failure)
        return value
