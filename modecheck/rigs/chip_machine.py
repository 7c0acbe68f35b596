"""A chip as a hierarchical machine of the library `transitions`, which follows the interpreter.

Each rule is a transition for its events. The interpreter decides which rule a chip takes; the
library takes the transition, enters the innermost state, and calls whoever listens.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from modecheck.model.parts import Chip, Rule
from modecheck.product.ir import Product

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


class Nested(NestedState):  # type: ignore[misc, unused-ignore]
    separator = "/"


class LibraryMachine(HierarchicalMachine):  # type: ignore[misc, unused-ignore]
    state_cls = Nested


class ChipMachine:
    """A chip (number) of a product, as the model of a machine, which is its attribute `machine`.

    Events are named `rule NAME` for what the chip does by itself, `signal NAME`, and `LINK MESSAGE`
    for what arrives.
    """

    state: str

    def __init__(self, number: int, product: Product) -> None:
        self.form = product.chips[number]
        self.chip: Chip = product.device.chips[self.form.name]
        self._product = product
        tops = [self._node(name) for name, state in self.chip.states.items() if not state.parent]
        self.machine = LibraryMachine(
            model=self,
            states=[{"name": WHOLE, "children": tops, "initial": self.chip.initial}],
            initial=WHOLE,
            auto_transitions=False,
            send_event=True,
            ignore_invalid_triggers=True,
        )
        for reaction in self.form.reactions:
            self._add(product.rules[reaction.rule])

    @property
    def name(self) -> str:
        return self.form.name

    @property
    def leaf(self) -> str:
        """The innermost state that the chip is in, as the model names it."""
        return self.state.split("/")[-1]

    def put(self, leaf: int) -> None:
        """Put the chip into an innermost state (number), without any effect."""
        self.machine.set_state(self._path(self.form.leaves[leaf]))

    def take(self, rule: int, event: str) -> None:
        """The chip takes a rule (number) of the product for an event."""
        self.trigger(event, rule=self._product.rules[rule])  # type: ignore[attr-defined]

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

    def _add(self, rule: Rule) -> None:
        def is_taken(event: Any) -> bool:
            return event.kwargs.get("rule") is rule

        for event in self._events(rule):
            for source in rule.sources or (None,):
                self.machine.add_transition(
                    event,
                    WHOLE if source is None else self._path(source),
                    None if rule.target is None else self._path(rule.target),
                    conditions=is_taken,
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
