"""The library `transitions` as a second opinion on how a chip answers its events.

Each chip is built anew as a hierarchical machine of that library, which decides by itself which
transition an event takes (innermost state first, then in the order of definition) and which state
is entered. The machines are driven in step with the interpreter along random walks.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from transitions.extensions import HierarchicalMachine
from transitions.extensions.nesting import NestedState

from modecheck.engine.reference.plain import Interpreter, Step
from modecheck.model.devices import read_device
from modecheck.model.parts import Chip, Device, Rule
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.generation.devices import Drawn, devices
from tests.second_reading.side_by_side import world_of
from tests.second_reading.statechart import in_turn
from tests.second_reading.steps import SecondReading
from tests.second_reading.worlds import View, World

ROOT = "whole"
MODELS = Path(__file__).parents[2] / "models"


class Nested(NestedState):
    separator = "/"


class Machine(HierarchicalMachine):
    state_cls = Nested


class Puppet:
    """A chip as a machine. Its guards read the `view` that an event brings, its effects write there
    and are remembered in `signalled`.
    """

    def __init__(self, chip: Chip, reading: SecondReading) -> None:
        self.chip = chip
        self.signalled: list[str] = []
        self._reading = reading
        tops = [self._node(name) for name, state in chip.states.items() if state.parent is None]
        self._machine = Machine(
            model=self,
            states=[{"name": ROOT, "children": tops, "initial": chip.initial}],
            initial=ROOT,
            auto_transitions=False,
            send_event=True,
            ignore_invalid_triggers=True,
        )
        for rule in in_turn(chip):
            self._add(rule)

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
        return "/".join([ROOT, *parts])

    def _add(self, rule: Rule) -> None:
        def condition(event: Any) -> bool:
            return self._reading.enabled(rule, event.kwargs["view"])

        def effect(event: Any) -> None:
            for assignment in rule.assignments:
                self._reading.assign(self.chip, assignment, event.kwargs["view"])
            self.signalled += rule.signals

        for trigger in self._triggers(rule):
            for source in rule.sources or (None,):
                self._machine.add_transition(
                    trigger,
                    ROOT if source is None else self._path(source),
                    None if rule.target is None else self._path(rule.target),
                    conditions=condition,
                    before=effect,
                )

    def _triggers(self, rule: Rule) -> Iterator[str]:
        if not rule.trigger:
            yield f"rule {rule.title}"
        for event in rule.trigger:
            if event.link is None:
                yield f"signal {event.name}"
            for link in self._reading.device.links.values():
                arrives = link.receiver == self.chip.name and event.name in link.carries
                if arrives and event.link in (None, link.name):
                    yield f"{link.name} {event.name}"

    @property
    def leaf(self) -> str:
        return str(self.state).split("/")[-1]  # type: ignore[attr-defined]

    def put(self, leaf: str) -> None:
        self._machine.set_state(self._path(leaf))

    def tell(self, event: str, view: View) -> bool:
        """Whether the chip moves for an event."""
        if event not in self._machine.events:
            return False
        return bool(self.trigger(event, view=view))  # type: ignore[attr-defined]


class Walk:
    """The machines of a device, and the world as they have made it."""

    def __init__(self, device: Device) -> None:
        reading = SecondReading(device)
        self.product: Product = compose(device)
        self._interpreter = Interpreter(self.product)
        self._puppets = {name: Puppet(chip, reading) for name, chip in device.chips.items()}
        self._state = self.product.initial
        self.moved = 0

    def go(self, choose: random.Random) -> None:
        """Take a random step in both, and compare."""
        steps = [step for step in self._interpreter.steps(self._state) if step.after is not None]
        if not steps:
            return
        step = choose.choice(steps)
        before = world_of(self.product, self._state)
        assert step.after is not None
        after = world_of(self.product, step.after)
        if self.product.labels[step.label].kind in ("rule", "deliver", "discard"):
            made = self._made(step, before)
            assert made.at == after.at
            assert made.holds == after.holds
        for name, puppet in self._puppets.items():
            puppet.put(after.at[name])
        self._state = step.after

    def _made(self, step: Step, world: World) -> World:
        """What the machines make of a step."""
        label = self.product.labels[step.label]
        value, late, name = 0, False, ""
        if label.queue >= 0:
            queue = self.product.queues[label.queue]
            name = self.product.chips[queue.receiver].name
            head, *rest = world.waits[queue.name]
            world.waits[queue.name] = tuple(rest)
            event, value, late = f"{queue.name} {head.message}", head.value, head.late
        else:
            name = self.product.chips[label.chip].name
            event = f"rule {self.product.rules[label.rule].title}"
        first = self._tell(name, event, View(name, world, world.copy(), value, late))
        assert first == (label.kind != "discard")
        pending = [(signal, name) for signal in self._signalled(name)]
        while pending:
            signal, signaller = pending.pop(0)
            seen = world.copy()
            for hearer in self._puppets:
                if hearer != signaller:
                    self._tell(hearer, f"signal {signal}", View(hearer, world, seen))
                    pending += [(further, hearer) for further in self._signalled(hearer)]
        world.at = {name: puppet.leaf for name, puppet in self._puppets.items()}
        return world

    def _tell(self, name: str, event: str, view: View) -> bool:
        moved = self._puppets[name].tell(event, view)
        view.now.at[name] = self._puppets[name].leaf
        self.moved += moved
        return moved

    def _signalled(self, name: str) -> list[str]:
        signalled, self._puppets[name].signalled = self._puppets[name].signalled, []
        return signalled


@given(devices(), st.integers(0, 2**32))
@settings(max_examples=settings().max_examples)
def test_chips_move_like_hierarchical_machines(drawn: Drawn, seed: int) -> None:
    """Along random walks every chip enters the states and writes the values of its machine."""
    walk, choose = Walk(drawn.read()), random.Random(seed)  # noqa: S311 - no secret
    for _ in range(25):
        walk.go(choose)


def test_bundled_chips_move_like_hierarchical_machines() -> None:
    """The chips of the bundled demo device answer as machines of the library do."""
    walk = Walk(read_device(str(MODELS / "tandem" / "device.yaml")))
    for seed in range(400):
        walk.go(random.Random(seed))  # noqa: S311 - no secret
    assert walk.moved > 100
