"""Random devices: two or three chips, people, links, faults, options, pairings, modes."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass, field
from typing import Any

import yaml
from hypothesis import strategies as st

from modecheck.model.devices import read_device, variants
from modecheck.model.parts import Device
from tests.generation.chips import ChipWriter, draw_outline, duration
from tests.generation.expressions import Draw, Expressions, Kind, Known, Rolled, Sight
from tests.generation.wiring import Wire, draw_kinds, draw_wires, type_as_yaml, wire_as_yaml

CHIPS = ("hub", "front", "rear")
ACTORS = ("player", "cable")
SIGNALS = ("hello", "ping", "pong", "done")
"""In the order in which they may lead to each other; `hello` is a message, too."""


@dataclass(frozen=True)
class Drawn:
    """A device file as text, and the choices of options to read it with."""

    text: str
    chosen: dict[str, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        return f"options {self.chosen}\n{self.text}"

    def read(self) -> Device:
        """The device, through a file and the reader."""
        return device_from(self.text, self.chosen)

    def read_every_variant(self) -> list[Device]:
        return [device_from(self.text, choice) for choice in variants(self.read())]


def device_from(text: str, chosen: dict[str, str] | None = None) -> Device:
    """Read a device from a text."""
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "device.yaml")
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)
        return read_device(path, chosen)


def as_yaml(document: dict[str, Any]) -> str:
    return yaml.safe_dump(document, sort_keys=False, width=10_000, default_flow_style=None)


@st.composite
def devices(
    draw: st.DrawFn,
    *,
    options: bool = True,
    faults: bool = True,
    cascades: bool = True,
    runs: bool = False,
    timed: bool = False,
    starts: bool = False,
) -> Drawn:
    """A device in one of its variants. Without `cascades` no hearer of a signal raises one; with
    `runs` there are requirements that need an observer; with `timed` there is a clock; with
    `starts` it may start in several states.
    """
    writer = _DeviceWriter(
        Draw(draw), options=options, faults=faults, cascades=cascades, timed=timed, starts=starts
    )
    return writer.drawn(runs=runs)


def rolled(seed: int, *, timed: bool = False, starts: bool = True) -> Drawn:
    """A device of the same kind by its seed, without hypothesis; with `starts`, every second one
    may start in several states.
    """
    several = starts and seed % 2 == 0
    writer = _DeviceWriter(
        Rolled(seed), options=True, faults=True, cascades=True, timed=timed, starts=several
    )
    return writer.drawn(runs=False)


class _DeviceWriter:
    def __init__(
        self,
        draw: Draw,
        *,
        options: bool,
        faults: bool,
        cascades: bool,
        timed: bool,
        starts: bool,
    ) -> None:
        self._draw = draw
        self._timed = timed
        self._with_faults = faults
        self._cascades = cascades
        self._options = self._draw_options() if options else {}
        names = [*CHIPS[: draw.number(2, 3)], *ACTORS[: draw.number(0, 2)]]
        self._outlines = {name: draw_outline(draw, name, starts=starts) for name in names}
        self._wires = draw_wires(draw, names, draw_kinds(draw))
        self._signals = {signal: _carried(draw) for signal in draw.some(SIGNALS, 0, 3)}

    def drawn(self, *, runs: bool) -> Drawn:
        chips = self._chips()
        document: dict[str, Any] = {"device": "random"}
        if self._timed:
            document["clock"] = {"tick": "1 ms"}
            if self._draw.chance(60):
                document["clock"]["at_once"] = self._draw.some(("chips", "links"), 1, 2)
        document["chips"] = {name: body for name, body in chips.items() if name in CHIPS}
        actors = {name: body for name, body in chips.items() if name in ACTORS}
        document |= {"actors": actors} if actors else {}
        sections: dict[str, Any] = {
            "links": {wire.name: self._link(wire) for wire in self._wires},
            "signals": {n: type_as_yaml(k) for n, k in self._signals.items() if k is not None},
            "options": self._options,
            "faults": self._faults() if self._with_faults else {},
            "modes": self._conditions("radio", "wired", "dark"),
            "pairings": self._pairings(),
            "requirements": self._requirements() | (self._about_runs() if runs else {}),
        }
        document |= {name: section for name, section in sections.items() if section}
        chosen = {
            name: _as_text(self._draw.one(choices)) for name, choices in self._options.items()
        }
        return Drawn(as_yaml(document), chosen)

    def _draw_options(self) -> dict[str, list[Any]]:
        kinds: list[list[Any]] = [["red", "green"], [True, False], [1, 2]]
        return {name: self._draw.one(kinds) for name in ("mood", "plan")[: self._draw.number(0, 2)]}

    def _option_names(self) -> tuple[Known, ...]:
        kinds = {str: Kind("word", 0, 1), bool: Kind("truth"), int: Kind("number", 1, 2)}
        return tuple(Known(name, kinds[type(c[0])]) for name, c in self._options.items())

    def _sight(self, own: str = "") -> Sight:
        variables = [
            Known(known.name if name == own else f"{name}.{known.name}", known.kind, known.length)
            for name, outline in self._outlines.items()
            for known in outline.variables
        ]
        places = {
            "state" if name == own else f"{name}.state": outline.states
            for name, outline in self._outlines.items()
        }
        return Sight(tuple(variables), places, self._option_names())

    def _chips(self) -> dict[str, dict[str, Any]]:
        writers = {
            name: ChipWriter(
                self._draw,
                outline,
                self._sight(name),
                self._wires,
                self._signals,
                timed=self._timed,
            )
            for name, outline in self._outlines.items()
        }
        bodies = {n: writer.body(cascades=self._cascades) for n, writer in writers.items()}
        signalled = {signal for writer in writers.values() for signal in writer.signalled}
        for signal in self._signals:
            if signal not in signalled:
                name = self._draw.one(list(writers))
                writers[name].add_signal(bodies[name], signal)
        self._share_a_controller(bodies)
        return bodies

    def _share_a_controller(self, bodies: dict[str, dict[str, Any]]) -> None:
        """Chips that are activities of one controller, with priorities and masks."""
        chips = [name for name in bodies if name in CHIPS]
        if not self._draw.chance(30):
            return
        together = self._draw.some(chips, 2, len(chips))
        for name in together:
            bodies[name] |= {"runs_on": "mcu", "priority": self._draw.number(0, 2)}
            others = [other for other in together if other != name]
            for state in bodies[name]["states"].values():
                if self._draw.chance(20):
                    state["masks"] = self._draw.some(others, 1, 2)

    def _link(self, wire: Wire) -> dict[str, Any]:
        link = wire_as_yaml(self._draw, wire)
        if self._timed and self._draw.chance(50):
            link["delay"] = duration(self._draw)
        if self._draw.chance(55):
            link["up_when"] = self._up_when()
            link |= {"when_down": "hold"} if self._draw.chance(70) else {}
        return link

    def _up_when(self) -> str:
        """Mostly whether a chip is in some of its states, since that changes again and again."""
        if self._draw.chance(30):
            return Expressions(self._draw, self._sight()).truth(1)
        chip = self._draw.one(list(self._outlines))
        states = self._draw.some(self._outlines[chip].states, 1, 2)
        return f"{chip}.state {self._draw.one(('in', 'not in'))} [{', '.join(states)}]"

    def _faults(self) -> dict[str, Any]:
        found: dict[str, Any] = {}
        links = [wire.name for wire in self._wires]
        chips = [name for name in self._outlines if name in CHIPS]
        for kind, where, targets in (
            ("power_cut", "chips", chips),
            ("reset", "chips", chips),
            ("lose", "links", links),
            ("duplicate", "links", links),
            ("corrupt", "links", links),
        ):
            if targets and self._draw.chance(35):
                groups = []
                for _ in range(1 + self._draw.chance(25)):
                    group: dict[str, Any] = {where: self._draw.some(targets, 1, 2)}
                    if where == "links" and self._draw.chance(30):
                        group["at_most_in_a_row"] = self._draw.number(1, 2)
                    groups.append(group | ({} if self._draw.chance(40) else {"at_most": 1}))
                found[kind] = groups if len(groups) > 1 else groups[0]
        return found

    def _conditions(self, *names: str) -> dict[str, str]:
        found = {}
        for name in names:
            if self._draw.chance(70):
                where = self._draw.one(list(self._outlines))
                state = self._draw.one(self._outlines[where].states)
                found[name] = f"{where}.state == {state}"
                if self._draw.chance(20):
                    found[name] = Expressions(self._draw, self._sight()).truth(1)
        return found

    def _pairings(self) -> dict[str, Any]:
        bonds = [
            f"{name}.{known.name}"
            for name, outline in self._outlines.items()
            for known in outline.variables
            if known.kind.name == "bond" and not known.length
        ]
        if len(bonds) < 2 or not self._draw.chance(80):
            return {}
        events = [*self._signals, *(m for wire in self._wires for m in wire.carries)]
        pairing: dict[str, Any] = {"ends": self._draw.some(bonds, 2, 2)}
        forgetting = self._draw.some(list(dict.fromkeys(events)), 0, 2)
        return {"pair": pairing | ({"forgotten_by": forgetting} if forgetting else {})}

    def _requirements(self) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for name in ("R1", "R2"):
            if self._draw.chance(40):
                condition = Expressions(self._draw, self._sight()).truth(1)
                form = self._draw.one(("never", "always", "possible", "recoverable"))
                inner: Any = condition
                if form == "recoverable" and self._signals and self._draw.chance(50):
                    inner = {"to": condition, "without": [self._draw.one(list(self._signals))]}
                found[name] = {"text": f"requirement {name}", form: inner}
        return found

    def _about_runs(self) -> dict[str, Any]:
        """One or two requirements about runs, in any scope."""
        found: dict[str, Any] = {}
        for name in ("RUN1", "RUN2")[: self._draw.number(1, 2)]:
            form = self._draw.one(("never", "always", "eventually", "whenever", "before"))
            partner = {"whenever": "then", "before": "first"}.get(form)
            need: dict[str, Any] = {"text": f"requirement {name}", form: self._moment()}
            need |= {partner: self._moment()} if partner else {}
            if form == "whenever" and self._timed and self._draw.chance(60):
                need["within"] = f"{self._draw.number(0, 4)} ms"
            need["scope"] = self._draw.one(
                (
                    {"before": self._moment()},
                    {"after": self._moment()},
                    {"between": [self._moment(), self._moment()]},
                    {"after": self._moment(), "until": self._moment()},
                    "globally",
                )
            )
            found[name] = need
        return found

    def _moment(self) -> str:
        """A condition of a state, or something that happens in a step."""
        events = [f"signalled({signal})" for signal in self._signals]
        events += [
            f"{kind}({wire.name}.{message})"
            for wire in self._wires
            for message in wire.carries
            for kind in ("accepted", "delivered", "dropped")
        ]
        if events and self._draw.chance(50):
            return self._draw.one(events)
        return Expressions(self._draw, self._sight()).truth(1)


def _as_text(choice: object) -> str:
    return str(choice).lower()


def _carried(draw: Draw) -> Kind | None:
    """What a signal carries, if anything."""
    low = draw.number(-1, 1)
    kinds = (Kind("truth"), Kind("number", low, low + draw.number(0, 2)), Kind("word", 0, 1))
    return draw.one(kinds) if draw.chance(50) else None
