"""Random chips: composite states, variables of every type, rules of every kind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from tests.generation.expressions import Draw, Expressions, Kind, Known, Sight
from tests.generation.wiring import Wire, type_as_yaml

STATES = ("idle", "busy", "asleep", "ready", "lost")
COMPOSITES = ("online", "inner")


def does_something(rule: Mapping[str, Any]) -> bool:
    """Whether a rule has an effect or consumes an event; the reader refuses any other."""
    keys = {"on", "after", "period", "expires", "to", "do", "send", "signal", "start", "stop"}
    return bool(rule.keys() & keys)


def duration(draw: Draw, *, least: int = 0) -> Any:
    """A few ticks, or an interval of them, perhaps without an end."""
    low = draw.number(least, 3)
    if draw.chance(40):
        return f"{low} ms"
    return [f"{low} ms", "forever" if draw.chance(20) else f"{low + draw.number(0, 2)} ms"]


@dataclass(frozen=True)
class Outline:
    """What others can see of a chip, and its declarations as they are written."""

    name: str
    states: tuple[str, ...]
    variables: tuple[Known, ...]
    tree: dict[str, Any] = field(default_factory=dict)
    declared: dict[str, Any] = field(default_factory=dict)
    starts: bool = False


def draw_outline(draw: Draw, name: str, *, starts: bool = False) -> Outline:
    """One to four leaves, perhaps inside composites, and up to two variables; with `starts` they
    may start in several ways.
    """
    leaves = {leaf: _leaf(draw) for leaf in STATES[: draw.one((2, 3, 3, 4))]}
    tree: dict[str, Any] = dict(leaves)
    names = list(leaves)
    for composite in COMPOSITES:
        if len(tree) > 1 and draw.chance(30):
            inside = draw.some(list(tree), 1, 2)
            body: dict[str, Any] = {"states": {key: tree.pop(key) for key in inside}}
            body |= {"rest": True} if draw.chance(30) else {}
            body |= {"initial": draw.one(inside)} if draw.chance(40) else {}
            tree[composite] = body
            names.append(composite)
    declared: dict[str, Any] = {}
    variables = [
        _variable(draw, key, declared, starts=starts)
        for key in ("x", "y")[: draw.one((0, 1, 1, 2))]
    ]
    return Outline(name, tuple(names), tuple(variables), tree, declared, starts)


def _leaf(draw: Draw) -> dict[str, Any]:
    return {"rest": True} if draw.chance(40) else {}


def _variable(draw: Draw, name: str, declared: dict[str, Any], *, starts: bool) -> Known:
    low = draw.number(-1, 1)
    bond = Kind("bond", 0, draw.number(1, 2))
    kinds = [
        Kind("truth"),
        bond,
        bond,
        Kind("number", low, low + draw.number(0, 2)),
        Kind("word", 0, draw.number(0, 2)),
    ]
    kind = draw.one(kinds)
    length = 2 if draw.chance(20) else 0
    entry = type_as_yaml(kind)
    if draw.chance(40):
        first = [_start(draw, kind, starts=starts) for _ in range(max(length, 1))]
        if length and draw.chance(50):
            entry["start"] = first
        else:
            several = length and isinstance(first[0], list)
            entry["start"] = [first[0]] * length if several else first[0]
    entry |= {"list": length} if length else {}
    entry |= {"persistent": True} if draw.chance(40) else {}
    declared[name] = "bool" if entry == {"bool": True} else entry
    return Known(name, kind, length)


def _start(draw: Draw, kind: Kind, *, starts: bool) -> Any:
    """With what a variable starts: mostly one value, else one of a few, or any."""
    if not starts or not draw.chance(25):
        return _plain(kind, draw.number(kind.low, kind.high))
    if draw.chance(30):
        return "any"
    low = draw.number(kind.low, kind.high)
    return [_plain(kind, value) for value in sorted({low, draw.number(kind.low, kind.high)})]


def _plain(kind: Kind, value: int) -> Any:
    if kind.name == "number" or (kind.name == "bond" and value):
        return value
    return bool(value) if kind.name == "truth" else kind.spelled(value)


class ChipWriter:
    """Writes the body of one chip. `signals` says what each signal carries; `signalled` gathers
    those that its rules give.
    """

    def __init__(
        self,
        draw: Draw,
        outline: Outline,
        sight: Sight,
        wires: Sequence[Wire],
        signals: Mapping[str, Kind | None],
        *,
        timed: bool = False,
    ) -> None:
        self._draw = draw
        self._timed = timed
        self._timers: list[str] = []
        self._outline = outline
        self._sight = sight
        self._incoming = [wire for wire in wires if wire.receiver == outline.name]
        self._outgoing = [wire for wire in wires if wire.sender == outline.name]
        self._signals = list(signals)
        self._kinds = signals
        self._cascades = True
        self.signalled: set[str] = set()

    def body(self, *, cascades: bool) -> dict[str, Any]:
        """Everything that stands under the chip's name."""
        self._cascades = cascades
        tree = {name: dict(state) for name, state in self._outline.tree.items()}
        body: dict[str, Any] = {}
        if self._outline.declared:
            body["variables"] = self._outline.declared
        if self._timed and self._draw.chance(40):
            self._timers = ["patience"]
            body["timers"] = {"patience": duration(self._draw)}
        rules = [self._rule(inside=False) for _ in range(self._draw.number(2, 5))]
        if self._draw.chance(70):
            rules.append(self._lively_rule())
        if any(wire.narrow for wire in self._incoming) and self._draw.chance(70):
            rules.append(self._answer())
        written: Any = rules
        if self._draw.chance(30):
            written = {f"r{number}": rule for number, rule in enumerate(rules)}
        if self._draw.chance(20):
            body |= {"rules": written, "states": tree}
        else:
            body |= {"states": tree, "rules": written}
        if self._draw.chance(30):
            body["initial"] = self._draw.one(list(tree))
        if self._outline.starts and self._draw.chance(15):
            names = list(self._outline.states[:2])
            body["initial"] = "any" if self._draw.chance(30) else self._draw.some(names, 1, 2)
        if self._draw.chance(12):
            body["fair"] = self._draw.one(("weak", "strong", "none", "whole", "whole"))
        self._add_inside(tree)
        self._add_replies(body, tree)
        return body

    def add_signal(self, body: dict[str, Any], signal: str) -> None:
        """A further rule, so that a signal that others hear is given by somebody."""
        expressions = Expressions(self._draw, self._sight)
        rule = {"if": expressions.truth(1), "signal": [self._given(signal, expressions)]}
        if isinstance(body["rules"], dict):
            body["rules"][f"raises_{signal}"] = rule
        else:
            body["rules"].append(rule)

    def _add_inside(self, tree: dict[str, Any]) -> None:
        """Rules that are written inside a state, often a composite one."""
        for state in tree.values():
            if self._draw.chance(60 if "states" in state else 20):
                state["rules"] = [self._rule(inside=True) for _ in range(self._draw.number(1, 2))]

    def _add_replies(self, body: dict[str, Any], tree: dict[str, Any]) -> None:
        arriving = sorted({name for wire in self._incoming for name in wire.delivers})
        if not arriving:
            return
        if self._draw.chance(60):
            body["discards"] = arriving
        elif self._draw.chance(30):
            body["defers"] = arriving
        for state in tree.values():
            if self._draw.chance(30):
                for name in self._draw.some(arriving, 1, 2):
                    state.setdefault(self._draw.one(("discards", "defers")), []).append(name)

    def _rule(self, *, inside: bool) -> dict[str, Any]:
        rule: dict[str, Any] = {}
        if not inside and self._draw.chance(75):
            states = self._draw.some(self._outline.states, 1, 2)
            rule["in"] = states if len(states) > 1 else states[0]
        sight = self._add_trigger(rule)
        if rule.keys() & {"on", "expires"} and self._draw.chance(30):
            rule["priority"] = self._draw.number(-1, 2)
        expressions = Expressions(self._draw, sight)
        if self._draw.chance(35):
            rule["if"] = expressions.truth(2)
        elif sight.in_event and self._draw.chance(20):
            rule["if"] = self._draw.one(("not late", "late"))
        if self._draw.chance(15):
            rule["choose"] = list(self._branches(rule, expressions))
            return rule
        self._add_effects(rule, expressions, rule)
        return rule

    def _add_effects(
        self, part: dict[str, Any], expressions: Expressions, rule: dict[str, Any]
    ) -> None:
        """What a rule does, or a branch of it."""
        self._add_assignments(part, expressions)
        if part is not rule and part.pop("steps", None):
            rule["steps"] = "separate"
        self._add_sends(part, expressions)
        self._add_signals(part, rule, expressions)
        self._add_timers(part)
        if self._draw.chance(85) or not (does_something(part) or does_something(rule)):
            part["to"] = self._draw.one(self._outline.states)

    def _branches(self, rule: dict[str, Any], expressions: Expressions) -> Iterator[dict[str, Any]]:
        """One to three branches, perhaps with one for all other cases."""
        for number in range(self._draw.number(1, 2)):
            branch: dict[str, Any] = {"if": expressions.truth(1)}
            branch |= {"name": f"case_{number}"} if self._draw.chance(30) else {}
            self._add_effects(branch, expressions, rule)
            yield branch
        if self._draw.chance(60):
            branch = {"else": True}
            self._add_effects(branch, expressions, rule)
            yield branch

    def _add_timers(self, rule: dict[str, Any]) -> None:
        for name in self._timers:
            if self._draw.chance(40):
                rule[self._draw.one(("start", "start", "stop"))] = name

    def _lively_rule(self) -> dict[str, Any]:
        """A rule that is often enabled, so that the device does not stand still at once."""
        rule: dict[str, Any] = {}
        if self._draw.chance(60):
            rule["in"] = self._draw.some(self._outline.states, 1, 2)
        rule["after"] = duration(self._draw) if self._timed else "5 ms"
        expressions = Expressions(self._draw, self._sight)
        self._add_assignments(rule, expressions)
        self._add_sends(rule, expressions)
        rule["to"] = self._draw.one(self._outline.states)
        return rule

    def _answer(self) -> dict[str, Any]:
        """A rule that answers a message or a signal, so that narrow links there and back fill."""
        heard = [name for wire in self._incoming for name in wire.carries]
        rule: dict[str, Any] = {"on": self._draw.one([*heard, *heard, *self._signals])}
        self._add_sends(rule, Expressions(self._draw, self._sight))
        return rule

    def _add_trigger(self, rule: dict[str, Any]) -> Sight:
        events = [(name, wire) for wire in self._incoming for name in wire.delivers]
        names = list(dict.fromkeys([*(name for name, _ in events), *self._signals]))
        if not names or self._draw.chance(35):
            if self._timed and self._draw.chance(70):
                self._add_waiting(rule)
            elif self._draw.chance(50):
                rule["after"] = duration(self._draw) if self._timed else "20 ms"
            return self._sight
        values = {name: wire.delivers[name].type for name, wire in events}
        likely = [name for name in names if name in values] if self._draw.chance(50) else []
        heard = [self._draw.one(likely or names)]
        if self._draw.chance(20):
            heard = self._draw.some(names, 1, 2)
        if len({kind for name in heard if (kind := values.get(name)) is not None}) > 1:
            heard = heard[:1]
        rule["on"] = heard if len(heard) > 1 else heard[0]
        found = {kind for name in heard for kind in self._carried(name, values)}
        value = found.pop() if len(found) == 1 else None
        if len(heard) == 1 and heard[0] in values and self._draw.chance(20):
            wires = [wire.name for name, wire in events if name == heard[0]]
            rule["on"] = f"{heard[0]} via {self._draw.one(wires)}"
        return self._sight.hearing(value)

    def _carried(self, name: str, values: Mapping[str, Kind | None]) -> Iterator[Kind | None]:
        """What comes with an event: a message, a signal, or either."""
        if name in values:
            yield values[name]
        if name in self._kinds:
            yield self._kinds[name]

    def _add_waiting(self, rule: dict[str, Any]) -> None:
        """The rule waits for time in some way."""
        key = self._draw.one(("after", "period", "expires"))
        if key == "expires" and self._timers:
            rule["expires"] = self._timers[0]
        elif key == "period":
            rule["period"] = duration(self._draw, least=1)
        else:
            rule["after"] = duration(self._draw)

    def _add_assignments(self, rule: dict[str, Any], expressions: Expressions) -> None:
        variables = self._outline.variables
        count = self._draw.number(0, 2) if variables else 0
        entries = [self._assignment(expressions) for _ in range(count)]
        if len(variables) == 2 and self._draw.chance(15):
            targets = [self._target(known, expressions) for known in variables]
            values = [expressions.of(known.kind) for known in variables]
            entries.append(f"{', '.join(targets)} = {', '.join(values)}")
        if entries:
            rule["do"] = entries if len(entries) > 1 or "," in entries[0] else entries[0]
        if len(entries) > 1 and self._draw.chance(60):
            rule["steps"] = "separate"

    def _assignment(self, expressions: Expressions) -> str:
        known = self._draw.one(self._outline.variables)
        target = self._target(known, expressions)
        if known.kind.name == "number" and self._draw.chance(15):
            return f"{target} {self._draw.one(('+=', '-='))} 1"
        return f"{target} = {expressions.of(known.kind)}"

    def _target(self, known: Known, expressions: Expressions) -> str:
        return f"{known.name}[{expressions.index(known.length)}]" if known.length else known.name

    def _add_sends(self, rule: dict[str, Any], expressions: Expressions) -> None:
        narrow = any(wire.narrow for wire in self._outgoing)
        if not self._outgoing or not self._draw.chance(85 if narrow else 70):
            return
        sends = []
        for _ in range(1 + self._draw.chance(25)):
            wire = self._draw.one(self._outgoing)
            name = self._draw.one(list(wire.carries))
            kind = wire.carries[name].type
            value = f"({expressions.of(kind)})" if kind is not None else ""
            alone = sum(name in other.carries for other in self._outgoing) == 1
            via = "" if alone and self._draw.chance(50) else f" via {wire.name}"
            sends.append(f"{name}{value}{via}")
        rule["send"] = sends

    def _add_signals(
        self, part: dict[str, Any], rule: dict[str, Any], expressions: Expressions
    ) -> None:
        """Only signals that stand after everything that sets the rule off, so that none circles."""
        heard = rule.get("on", [])
        names = [str(e).split()[0] for e in (heard if isinstance(heard, list) else [heard])]
        known = [self._signals.index(name) for name in names if name in self._signals]
        if known and not self._cascades:
            return
        allowed = [s for s in self._signals if self._signals.index(s) > max(known, default=-1)]
        if allowed and self._draw.chance(35):
            chosen = self._draw.some(allowed, 1, 2)
            part["signal"] = [self._given(signal, expressions) for signal in chosen]
            self.signalled |= set(chosen)

    def _given(self, signal: str, expressions: Expressions) -> str:
        """A signal with its value, if it carries one."""
        kind = self._kinds[signal]
        return signal if kind is None else f"{signal}({expressions.of(kind)})"
