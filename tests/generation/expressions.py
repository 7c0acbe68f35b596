"""Random expressions of every type, as a person would write them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from random import Random
from typing import TypeVar

from hypothesis import strategies as st

T = TypeVar("T")

WORDS = ("red", "green", "blue")
"""Words of every `one_of`: one, two or three of them."""

COMPARISONS = ("==", "!=", "<", "<=", ">", ">=")


class Draw:
    """Draws with hypothesis; what is listed first is what a failing example shrinks to."""

    def __init__(self, draw: Callable[[st.SearchStrategy[int]], int]) -> None:
        self._draw = draw

    def number(self, low: int, high: int) -> int:
        return self._draw(st.integers(low, high))

    def one(self, choices: Sequence[T]) -> T:
        return choices[self.number(0, len(choices) - 1)]

    def some(self, choices: Sequence[T], least: int, most: int) -> list[T]:
        """Different ones, in their order."""
        left = list(range(len(choices)))
        count = self.number(min(least, len(left)), min(most, len(left)))
        taken = [left.pop(self.number(0, len(left) - 1)) for _ in range(count)]
        return [choices[n] for n in sorted(taken)]

    def chance(self, percent: int) -> bool:
        """True that often; shrinks to False."""
        return self.number(0, 99) >= 100 - percent


class Rolled(Draw):
    """Draws by a seed: the same numbers on every machine and with every version of Python."""

    def __init__(self, seed: int) -> None:
        super().__init__(lambda _: 0)
        self._dice = Random(seed)  # noqa: S311 - no secret

    def number(self, low: int, high: int) -> int:
        # `randint` may change between versions of Python; `random` does not.
        return low + int(self._dice.random() * (high - low + 1))


@dataclass(frozen=True)
class Kind:
    """A type of values: "truth", "number", "word" or "bond", with its bounds."""

    name: str
    low: int = 0
    high: int = 1

    @property
    def words(self) -> tuple[str, ...]:
        return WORDS[: self.high + 1] if self.name == "word" else ()

    def spelled(self, value: int) -> str:
        if self.name == "truth":
            return "true" if value else "false"
        if self.name == "bond" and value == 0:
            return "none"
        return self.words[value] if self.words else str(value)


@dataclass(frozen=True)
class Known:
    """A variable as an expression can read it: its name, its kind, the length of its list."""

    name: str
    kind: Kind
    length: int = 0


@dataclass(frozen=True)
class Sight:
    """What an expression can speak of at one place of the model.

    `places` maps the name of a state field (`state`, `hub.state`) to the states it can have;
    `value` is the kind of the message's payload, if there is one.
    """

    variables: tuple[Known, ...] = ()
    places: dict[str, tuple[str, ...]] = field(default_factory=dict)
    options: tuple[Known, ...] = ()
    in_event: bool = False
    value: Kind | None = None

    def hearing(self, value: Kind | None) -> Sight:
        """The same, in a rule that an event sets off."""
        return replace(self, in_event=True, value=value)


class Expressions:
    """Draws expressions at one place of the model."""

    def __init__(self, draw: Draw, sight: Sight) -> None:
        self._draw = draw
        self._sight = sight

    def truth(self, depth: int = 2) -> str:
        """A condition."""
        forms: list[Callable[[], str]] = [self._state_test] if self._sight.places else []
        forms += [lambda: self._draw.one(("true", "false"))] if not forms else []
        readable = self._readable("truth")
        forms += [lambda: self._draw.one(readable)] if readable else []
        forms += [self._comparison, self._word_test]
        forms += [lambda: "late"] if self._sight.in_event else []
        if depth > 0:
            forms += [lambda: f"not ({self.truth(depth - 1)})"]
            forms += [lambda: self._joined("and", depth), lambda: self._joined("or", depth)]
            forms += [lambda: self._choice(lambda: self.truth(depth - 1), depth)]
        return self._draw.one(forms)()

    def of(self, kind: Kind, depth: int = 1) -> str:
        """A value that can be assigned to a variable of a kind; numbers may leave its range."""
        if kind.name == "truth":
            return self.truth(depth)
        same = self._readable(kind.name, kind)
        constant = kind.spelled(self._draw.number(kind.low, kind.high))
        if kind.name == "word":
            forms = [constant, *same]
            if depth > 0 and self._draw.chance(30):
                return self._choice(lambda: self._draw.one(forms), depth)
            return self._draw.one(forms)
        if not self._draw.chance(40):
            return self._draw.one([constant, *same])
        number = self.number(depth)
        if self._draw.chance(75):
            return f"max({kind.low}, min({kind.high}, {number}))"
        return number

    def number(self, depth: int = 1) -> str:
        """A number."""
        readable = [*self._readable("number"), *self._readable("bond")]
        forms: list[Callable[[], str]] = [lambda: str(self._draw.number(-1, 3))]
        forms += [lambda: self._draw.one(readable)] * 4 if readable else []
        if depth > 0:
            forms += [lambda: self._sum(depth), lambda: self._extreme(depth)]
            forms += [lambda: self._choice(lambda: self.number(depth - 1), depth)]
        return self._draw.one(forms)()

    def index(self, length: int) -> str:
        """An index of a list; what is not a constant may leave it."""
        plain = [known for known in self._sight.variables if not known.length]
        numbers = [known.name for known in plain if known.kind.name == "number"]
        if numbers and self._draw.chance(40):
            return self._draw.one(numbers)
        if self._draw.chance(30):
            return f"{length - 1} if {self.truth(0)} else 0"
        return str(self._draw.number(0, length - 1))

    def _readable(self, kind: str, exact: Kind | None = None) -> list[str]:
        found = []
        for known in (*self._sight.variables, *self._sight.options):
            if known.kind.name == kind and (kind != "word" or exact in (None, known.kind)):
                position = f"[{self._draw.number(0, known.length - 1)}]" if known.length else ""
                found.append(f"{known.name}{position}")
        value = self._sight.value
        if value is not None and value.name == kind and (kind != "word" or exact in (None, value)):
            found.append("value")
        return found

    def _state_test(self) -> str:
        place = self._draw.one(list(self._sight.places))
        states = self._sight.places[place]
        form = self._draw.number(0, 3)
        if form == 1:
            return f"{place} in [{', '.join(self._draw.some(states, 1, 2))}]"
        if form == 2:
            return f"{place} not in [{', '.join(self._draw.some(states, 1, 2))}]"
        return f"{place} {'!=' if form == 3 else '=='} {self._draw.one(states)}"

    def _comparison(self) -> str:
        left, sign, right = self.number(1), self._draw.one(COMPARISONS), self.number(0)
        in_rule = "state" in self._sight.places
        if sign in ("==", "!=") and not in_rule:  # a literal that is never reached is an error
            left, right = self._reached(left, right), self._reached(right, left)
        return f"{left} {sign} {right}"

    def _reached(self, text: str, other: str) -> str:
        """The text; a literal is moved into the range of the variable that it is compared with."""
        name = other.partition("[")[0]
        kind = next((k.kind for k in self._sight.variables if k.name == name), None)
        if kind is None or not text.lstrip("-").isdigit():
            return text
        return str(max(kind.low, min(kind.high, int(text))))

    def _word_test(self) -> str:
        words = [k for k in (*self._sight.variables, *self._sight.options) if k.kind.words]
        lists = [k for k in self._sight.variables if k.length and k.kind.name == "truth"]
        if lists and (not words or self._draw.chance(50)):
            known = self._draw.one(lists)
            return f"{known.name}[{self.index(known.length)}]"
        if not words:
            return self._comparison()
        known = self._draw.one(words)
        position = f"[{self._draw.number(0, known.length - 1)}]" if known.length else ""
        sign = self._draw.one(("==", "!="))
        return f"{known.name}{position} {sign} {self._draw.one(known.kind.words)}"

    def _joined(self, operator: str, depth: int) -> str:
        return f"({self.truth(depth - 1)}) {operator} ({self.truth(depth - 1)})"

    def _sum(self, depth: int) -> str:
        sign = self._draw.one(("+", "-", "+", "-", "*", "//", "%"))
        if sign in ("//", "%"):
            divisor = self._draw.one(("2", "3", "-2", f"max({self.number(0)}, 1)"))
            return f"({self.number(depth - 1)}) {sign} {divisor}"
        return f"({self.number(depth - 1)}) {sign} ({self.number(0)})"

    def _extreme(self, depth: int) -> str:
        return f"{self._draw.one(('min', 'max'))}({self.number(depth - 1)}, {self.number(0)})"

    def _choice(self, part: Callable[[], str], depth: int) -> str:
        return f"({part()} if {self.truth(depth - 1)} else {part()})"
