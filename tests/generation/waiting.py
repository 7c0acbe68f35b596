"""Small random devices with a clock in which somebody is waited for, and often nobody else counts
the time: two or three chips that only move and read each other.
"""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from tests.generation.devices import Drawn, as_yaml
from tests.generation.expressions import Draw

CHIPS = ("a", "b", "c")
STATES = ("x", "y", "z")
LATEST = 4
"""Milliseconds: so few that waits end within a few dozen states."""


@st.composite
def waiting_devices(draw: st.DrawFn) -> Drawn:
    """A device with requirements within a time or about the end of runs."""
    writer = _Writer(Draw(draw))
    return Drawn(as_yaml(writer.device()))


class _Writer:
    def __init__(self, draw: Draw) -> None:
        self._draw = draw
        self._names = CHIPS[: draw.number(2, 3)]

    def device(self) -> dict[str, Any]:
        count = self._draw.number(1, 2)
        return {
            "device": "random",
            "clock": {"tick": "1 ms"},
            "chips": {name: self._chip(name) for name in self._names},
            "requirements": {f"R{n}": self._requirement() for n in range(1, count + 1)},
        }

    def _chip(self, own: str) -> dict[str, Any]:
        rules = [self._rule(own) for _ in range(self._draw.number(0, 3))]
        states = {name: {"rest": True} if self._draw.chance(40) else {} for name in STATES}
        return {"states": states, "rules": rules} if rules else {"states": states}

    def _rule(self, own: str) -> dict[str, Any]:
        rule: dict[str, Any] = {"in": self._draw.one(STATES), "to": self._draw.one(STATES)}
        if self._draw.chance(40):
            rule["after"] = f"{self._draw.number(1, LATEST)} ms"
        if self._draw.chance(25):
            rule["if"] = self._stay([name for name in self._names if name != own])
        return rule

    def _requirement(self) -> dict[str, Any]:
        need: dict[str, Any] = {"text": "somebody comes"}
        if self._draw.chance(35):
            need["eventually"] = self._stay(self._names)
        else:
            need |= {"whenever": self._stay(self._names), "then": self._stay(self._names)}
            need["within"] = f"{self._draw.number(0, LATEST)} ms"
        if self._draw.chance(30):
            need["scope"] = {"after": self._stay(self._names)}
        return need

    def _stay(self, names: Any) -> str:
        """That a chip is in a state, or is not."""
        how = self._draw.one(("==", "!="))
        return f"{self._draw.one(names)}.state {how} {self._draw.one(STATES)}"
