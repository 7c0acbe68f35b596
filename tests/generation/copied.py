"""Random devices with copies, each also written out by hand, as one would without `copies`.

Both texts are made of the same choices, by code that knows nothing of the tool: what a name such as
`tile[i+1]` or `count(tile.lit)` means stands here a second time.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

from hypothesis import strategies as st

from tests.generation.devices import Drawn, as_yaml
from tests.generation.expressions import Draw, Rolled

Long: TypeAlias = Callable[[int], str]
"""What a text with copies means for one of them, by its number."""

RENAMED = re.compile(r"\[(\d+)\]")


def written_out_name(text: str) -> str:
    """`tile[2]` as it is called where everything is written out."""
    return RENAMED.sub(r"_\1", text)


@dataclass(frozen=True)
class Copied:
    """One device twice: with copies, and written out."""

    short: Drawn
    long: Drawn


@st.composite
def copied_devices(draw: st.DrawFn) -> Copied:
    """A hub and two to four tiles that look at each other in every way there is."""
    return _Writer(Draw(draw)).copied()


def rolled_copied(seed: int) -> Copied:
    """Such a device by its seed."""
    return _Writer(Rolled(seed)).copied()


class _Writer:
    def __init__(self, draw: Draw) -> None:
        self._draw = draw
        self._count = draw.number(2, 4)
        self._numbers = range(1, self._count + 1)
        self._ring = draw.chance(40)
        self._line = draw.chance(30)
        self._messages = draw.chance(70)
        self._odd = draw.chance(25)
        """Whether the second tile starts otherwise."""
        self._valued = draw.chance(40)
        """Whether a poke carries a value."""

    def copied(self) -> Copied:
        rules = [self._tile_rule(n) for n in range(self._draw.number(2, 3))]
        if self._messages and self._draw.chance(80):
            rules.append(self._answering())
        greeting = [self._greeting(n) for n in range(self._draw.number(1, 2))]
        own = [self._hub_rule()] if self._draw.chance(50) else []
        needs = [self._need() for _ in range(2)]
        total = self._condition_of_all()
        loses = self._messages and self._draw.chance(40)
        cuts = self._draw.chance(25)
        long = self._long(rules, greeting, own, needs, total, loses=loses, cuts=cuts)
        short = self._short(rules, greeting, own, needs, total, loses=loses, cuts=cuts)
        return Copied(Drawn(as_yaml(short)), Drawn(as_yaml(long)))

    def _other(self, number: int, step: int) -> int:
        return (number - 1 + step) % self._count + 1

    def _tiles(self, form: str) -> list[str]:
        return [form.format(k) for k in self._numbers]

    def _choose(self, *pairs: tuple[str, Long]) -> tuple[str, Long]:
        return self._draw.one(pairs)

    def _condition_of_all(self) -> tuple[str, Long]:
        """A condition that names no single tile."""
        least = self._draw.number(0, self._count)
        ones = " + ".join(self._tiles("(1 if tile_{}.lit else 0)"))
        most = self._draw.number(1, 3)
        return self._choose(
            ("any(tile.lit)", lambda _: " or ".join(self._tiles("tile_{}.lit"))),
            ("all(tile.dark)", lambda _: " and ".join(self._tiles("tile_{}.dark"))),
            (f"count(tile.lit) >= {least}", lambda _: f"({ones}) >= {least}"),
            (
                f"sum(tile.level) < {most}",
                lambda _: f"({' + '.join(self._tiles('tile_{}.level'))}) < {most}",
            ),
            (
                f"count(busy) > {least}",
                lambda _: f"({ones} + (1 if hub.open else 0)) > {least}",
            ),
            (
                "any(tile.lit and tile[i+1].level == 0)",
                lambda _: " or ".join(
                    f"tile_{k}.lit and tile_{self._other(k, 1)}.level == 0" for k in self._numbers
                ),
            ),
        )

    def _condition(self, own: str) -> tuple[str, Long]:
        """A condition of a tile; `own` stands before its variables, if it is written elsewhere."""
        step = self._draw.one((1, -1, 2))
        sign = f"{step:+d}".replace("+", "+ ").replace("-", "- ")
        here: Long = (lambda k: f"tile_{k}.level") if own else (lambda _: "level")
        number = self._draw.number(1, self._count)
        return self._choose(
            (f"tile[i {sign}].lit", lambda k: f"tile_{self._other(k, step)}.lit"),
            (
                f"tile[i {sign}].level != {own}level",
                lambda k: f"tile_{self._other(k, step)}.level != {here(k)}",
            ),
            (f"i <= {number}", lambda k: "0 == 0" if k <= number else "0 == 1"),
            (f"tile[{number}].dark", lambda _: f"tile_{number}.dark"),
            ("hub.open", lambda _: "hub.open"),
            self._condition_of_all(),
        )

    def _tile_rule(self, number: int) -> tuple[str, Callable[[int | None], dict[str, Any]]]:
        """A rule of a tile: its name, and its body for a tile, or with copies for None."""
        short, long = self._condition("")
        source, target = self._draw.one((("dark", "lit"), ("lit", "dark"), ("dark", "dark")))
        pokes, hears = self._draw.chance(40), self._draw.chance(35)
        sends = self._draw.one(("up", "ring", "")) if self._messages else ""
        adds = self._draw.one(("level = 1 - level", "level = 1", ""))
        guarded = self._draw.chance(80)

        def body(k: int | None) -> dict[str, Any]:
            rule: dict[str, Any] = {"in": source, "to": target}
            if hears:
                rule["on"] = "poke[i]" if k is None else f"poke_{k}"
            if guarded:
                rule["if"] = short if k is None else long(k)
            if pokes and not hears:
                poke = "poke[i + 1]" if k is None else f"poke_{self._other(k, 1)}"
                rule["signal"] = self._with_value(poke, "level")
            if adds:
                rule["do"] = ["level = value" if hears and self._valued else adds]
            if sends == "up" or (sends == "ring" and self._ring and not self._line):
                rule["send"] = [f"note via {sends}" if k is None else f"note via {sends}_{k}"]
            return rule

        return f"rule_{number}", body

    def _with_value(self, poke: str, value: str) -> str:
        return f"{poke}({value})" if self._valued else poke

    def _declared(self, *names: str) -> dict[str, Any]:
        """What signals carry, if they do."""
        return {"signals": {name: {"range": [0, 1]} for name in names}} if self._valued else {}

    def _answering(self) -> tuple[str, Callable[[int | None], dict[str, Any]]]:
        via = self._draw.one(("down", "ring", ""))

        def body(k: int | None) -> dict[str, Any]:
            on = "note"
            if via == "down":
                on = "note via down" if k is None else f"note via down_{k}"
            if via == "ring" and self._ring and not self._line:
                on = "note via ring[i - 1]" if k is None else f"note via ring_{self._other(k, -1)}"
            return {"on": on, "do": ["level = 1 - level"]}

        return "answer", body

    def _greeting(self, number: int) -> tuple[str, Callable[[int | None], dict[str, Any]]]:
        """A rule of the hub for each tile."""
        short, long = self._condition("tile.")
        messages, answers = self._messages, self._draw.chance(60)

        def body(k: int | None) -> dict[str, Any]:
            rule: dict[str, Any] = {"if": short if k is None else long(k), "to": "open"}
            if messages:
                rule["on"] = "note via up" if k is None else f"note via up_{k}"
                if answers:
                    rule["send"] = ["note via down" if k is None else f"note via down_{k}"]
            else:
                rule["in"] = "shut"
            return rule

        return f"greet_{number}", body

    def _hub_rule(self) -> tuple[str, Callable[[int | None], dict[str, Any]]]:
        short, long = self._condition_of_all()
        pokes = self._draw.number(1, self._count)

        def body(k: int | None) -> dict[str, Any]:
            return {
                "in": "open",
                "if": short if k is None else long(0),
                "to": "shut",
                "signal": self._with_value(f"poke[{pokes}]" if k is None else f"poke_{pokes}", "1"),
            }

        return "shut", body

    def _need(self) -> tuple[str, Long]:
        short, long = self._condition("tile.")
        if self._draw.chance(50) and self._messages:
            event = self._draw.one(("sent(up.note)", "dropped(up.note)", "delivered(down.note)"))
            return (
                f"{event} and {short}",
                lambda k: f"{event.replace('.note', f'_{k}.note')} and ({long(k)})",
            )
        return short, long

    def _common(self, *, loses: bool, cuts: bool) -> dict[str, Any]:
        faults: dict[str, Any] = {}
        if loses:
            faults["lose"] = {"at_most": 1}
        if cuts:
            faults["power_cut"] = {"at_most": 1}
        return {"faults": faults} if faults else {}

    def _link(self, sender: str, receiver: str) -> dict[str, Any]:
        full = {"when_full": "drop_new"}
        return {"from": sender, "to": receiver, "carries": ["note"], **full}

    def _short(
        self, rules: Any, greeting: Any, own: Any, needs: Any, total: Any, **faults: bool
    ) -> Any:
        tile = self._tile_body({name: body(None) for name, body in rules}) | {"copies": self._count}
        each = {name: body(None) for name, body in greeting}
        hub = {"each tile": each, **{name: body(None) for name, body in own}}
        document: dict[str, Any] = {
            "device": "copied",
            "chips": {"tile": tile, "hub": self._hub_body(hub)},
            "actors": self._player(
                {"each tile": {"poke": {"signal": self._with_value("poke[i]", "1")}}}
            ),
        } | self._declared("poke")
        if self._odd:
            document["chips"]["tile[2]"] = {"initial": "lit"}
        if self._messages:
            inside = {"up": self._link("tile", "hub"), "down": self._link("hub", "tile")}
            document["links"] = {"each tile": inside}
            if self._ring:
                key = "each tile if i > 1" if self._line else "each tile"
                document["links"].setdefault(key, {})["ring"] = self._link("tile", "tile[i + 1]")
        document["lists"] = {"busy": ["tile.lit", "hub.open"]}
        document["requirements"] = {
            "each tile": {
                f"R{n}": {"text": "said of tile {i}", "never": short}
                for n, (short, _) in enumerate(needs)
            },
            "total": {"text": "said of all", "never": total[0]},
        }
        common = self._common(**faults)
        if faults["loses"]:
            common["faults"]["lose"]["links"] = ["up"]
        if faults["cuts"]:
            common["faults"]["power_cut"]["chips"] = ["tile"]
        return document | common

    def _long(
        self, rules: Any, greeting: Any, own: Any, needs: Any, total: Any, **faults: bool
    ) -> Any:
        chips = {
            f"tile_{k}": self._tile_body({name: body(k) for name, body in rules})
            for k in self._numbers
        }
        if self._odd:
            chips["tile_2"]["initial"] = "lit"
        hub = {f"{name}_{k}": body(k) for k in self._numbers for name, body in greeting}
        hub |= {name: body(0) for name, body in own}
        document: dict[str, Any] = {
            "device": "copied",
            "chips": {**chips, "hub": self._hub_body(hub)},
            "actors": self._player(
                {f"poke_{k}": {"signal": self._with_value(f"poke_{k}", "1")} for k in self._numbers}
            ),
        } | self._declared(*self._tiles("poke_{}"))
        if self._messages:
            document["links"] = dict(self._links_written_out())
        document["requirements"] = {
            f"R{n}_{k}": {"text": f"said of tile {k}", "never": long(k)}
            for k in self._numbers
            for n, (_, long) in enumerate(needs)
        }
        document["requirements"]["total"] = {"text": "said of all", "never": total[1](0)}
        common = self._common(**faults)
        if faults["loses"]:
            common["faults"]["lose"]["links"] = self._tiles("up_{}")
        if faults["cuts"]:
            common["faults"]["power_cut"]["chips"] = self._tiles("tile_{}")
        return document | common

    def _links_written_out(self) -> Iterator[tuple[str, Any]]:
        for k in self._numbers:
            yield f"up_{k}", self._link(f"tile_{k}", "hub")
            yield f"down_{k}", self._link("hub", f"tile_{k}")
            if self._ring and not self._line:
                yield f"ring_{k}", self._link(f"tile_{k}", f"tile_{self._other(k, 1)}")
        if self._ring and self._line:
            for k in self._numbers[1:]:
                yield f"ring_{k}", self._link(f"tile_{k}", f"tile_{self._other(k, 1)}")

    def _tile_body(self, rules: dict[str, Any]) -> dict[str, Any]:
        body: dict[str, Any] = {
            "variables": {"level": {"range": [0, 1]}},
            "states": {"dark": {"rest": True}, "lit": {}},
            "rules": rules,
        }
        if self._messages:
            body["discards"] = ["note"]
        return body

    def _player(self, rules: dict[str, Any]) -> dict[str, Any]:
        return {"player": {"states": ["here"], "rules": rules}}

    def _hub_body(self, rules: dict[str, Any]) -> dict[str, Any]:
        body: dict[str, Any] = {"states": {"shut": {"rest": True}, "open": {}}, "rules": rules}
        if self._messages:
            body["discards"] = ["note"]
        return body
