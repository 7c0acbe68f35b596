"""The expressions of an SCXML document in the model's language, judged as the model judges them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from modecheck.exchange.ecmascript_reading import (
    TRUNCATED,
    parse_ecmascript,
    parts_of_tree,
    quotients,
)
from modecheck.exchange.expression_text import expression_text
from modecheck.exchange.scxml_chart import Chart, ChartState
from modecheck.exchange.scxml_variables import ChartVariable
from modecheck.exchange.xml_reading import XmlAttribute
from modecheck.model.errors import Notebook
from modecheck.model.meaning import understand, understand_condition
from modecheck.model.parts import State
from modecheck.model.scopes import ChipOutline, MeaningError, Scope, Unknowable
from modecheck.model.shapes import IDENTIFIER
from modecheck.model.syntax import (
    Apply,
    ExpressionError,
    Member,
    Name,
    Number,
    Tree,
    parse_condition,
)
from modecheck.model.values import ValueType, bond_type
from modecheck.model.variables import Variable

LOCATION = re.compile(r"\s*([^\W\d][\w$]*)\s*(?:\[(.*)\]\s*)?", re.DOTALL)


@dataclass(frozen=True, slots=True)
class ChartExpression:
    """An expression as the model writes it, and the variables of the data model that it reads."""

    text: str
    reads: frozenset[str] = frozenset()


@dataclass(slots=True)
class EventData:
    """What the events of a transition bring along: the one name under which it is read."""

    carries: bool
    name: str = ""


@dataclass(slots=True)
class ChartExpressions:
    """Reads the expressions of one document; errors are noted at their place."""

    chart: Chart
    variables: Mapping[str, ChartVariable]
    notes: Notebook
    scope: Scope = field(init=False)

    def __post_init__(self) -> None:
        own = ChipOutline("", _states(self.chart), _own_variables(self.variables))
        self.scope = Scope({**_others(self.variables), "": own}, own=own)

    def condition(self, attribute: XmlAttribute, data: EventData) -> ChartExpression | None:
        """A condition, or None after noting what is wrong with it."""
        return self._read(attribute, data, None, condition=True)

    def value(
        self, attribute: XmlAttribute, data: EventData, want: ValueType | None
    ) -> ChartExpression | None:
        """A value for a variable of this type; None allows any."""
        return self._read(attribute, data, want, condition=False)

    def location(self, attribute: XmlAttribute, data: EventData) -> ChartExpression | None:
        """A variable that is assigned, or an item of a list."""
        match = LOCATION.fullmatch(attribute.text)
        if match is None:
            expected = "a variable, or an item of a list"
            self.notes.add(
                f"{attribute.text!r} is not a variable", attribute.whole, expected=expected
            )
            return None
        found = self._read(attribute, data, None, condition=False)
        variable = self.variables.get(match[1])
        if found is not None and variable is not None and variable.reads:
            message = f"{match[1]!r} is a value of another chip"
            expected = "a variable of the chip itself"
            self.notes.add(message, attribute.whole, expected=expected)
            return None
        return found

    def _read(
        self, attribute: XmlAttribute, data: EventData, want: ValueType | None, *, condition: bool
    ) -> ChartExpression | None:
        names = _Names(self.chart, self.variables, data)
        try:
            tree = self._with_remainders(_parsed(attribute.text, names))
            if condition or want is not None or not names.words:
                self._judge(tree, want, condition=condition)  # of a message's words it knows none
            tree = self._with_none(tree, want)
        except (ExpressionError, MeaningError) as error:
            place = attribute.part(error.offset, error.width)
            word, choices = getattr(error, "word", ""), getattr(error, "choices", ())
            self.notes.add(
                error.message, place, expected=error.expected, word=word, choices=choices
            )
            return None
        except Unknowable:
            return None
        return ChartExpression(expression_text(tree), frozenset(names.read))

    def _with_remainders(self, tree: Tree) -> Tree:
        """Remainders as the model has them. Raises `ExpressionError` for one that may differ."""
        match tree:
            case Name(index=index) if index is not None:
                return replace(tree, index=self._with_remainders(index))
            case Member(item, choices):
                chosen = tuple(map(self._with_remainders, choices))
                return replace(tree, item=self._with_remainders(item), choices=chosen)
            case Apply(operator, arguments):
                whole = replace(tree, arguments=tuple(map(self._with_remainders, arguments)))
                if operator != TRUNCATED:
                    return whole
                if any(map(self._may_be_negative, whole.arguments)):
                    message = "a remainder of numbers that may be negative, which has another sign"
                    expected = "a - b * Math.floor(a / b), which has the sign of b"
                    raise ExpressionError(message, tree.offset, tree.width, expected)
                return replace(whole, operator="%")
        return tree

    def _may_be_negative(self, tree: Tree) -> bool:
        """Of what a message carries, only the device knows; an export of ours has seen to it."""
        if any(isinstance(one, Name) and one.parts == ("value",) for one in _names_in(tree)):
            return not self.chart.own
        return understand(tree, replace(self.scope, in_event=True), None).type.low < 0

    def _with_none(self, tree: Tree, want: ValueType | None = None) -> Tree:
        """No key of a bond is the number 0 in an export, and the word `none` in a model."""
        match tree:
            case Number(0) if want is not None and want.kind == "bond":
                return Name(("none",), tree.offset, tree.width)
            case Apply("==" | "!=", (left, right)) if self._is_bond(left) or self._is_bond(right):
                sides = [
                    self._with_none(one, bond_type() if isinstance(one, Number) else None)
                    for one in (left, right)
                ]
                return replace(tree, arguments=tuple(sides))
            case Apply("if", (test, yes, no)):
                chosen = (self._with_none(one, want) for one in (yes, no))
                return replace(tree, arguments=(self._with_none(test), *chosen))
            case Apply():
                return replace(tree, arguments=tuple(map(self._with_none, tree.arguments)))
        return tree

    def _is_bond(self, tree: Tree) -> bool:
        if not isinstance(tree, Name) or tree.copy is not None:
            return False
        chip, _, member = tree.text.rpartition(".")
        known = self.scope.chips.get(chip)
        variable = known.variables.get(member) if known is not None else None
        return variable is not None and variable.type.kind == "bond"

    def _judge(self, tree: Tree, want: ValueType | None, *, condition: bool) -> None:
        """Raise `MeaningError` if the types do not fit. What an event brings along has a type that
        only the device knows, and of copies only the device knows how many there are.
        """
        names = [one for one in _names_in(tree) if isinstance(one, Name)]
        if any(one.parts == ("value",) or one.copy is not None for one in names):
            return
        scope = replace(self.scope, in_event=True)
        if condition:
            understand_condition(tree, scope)
            return
        typed = understand(tree, scope, want)
        if want is None:
            return
        numeric = {typed.type.kind, want.kind} <= {"number", "bond"}
        if not numeric and (typed.type.kind != want.kind or typed.type.words != want.words):
            raise MeaningError(f"this is {typed.type}", tree.offset, tree.width, str(want))


def _parsed(text: str, names: _Names) -> Tree:
    tree = parse_ecmascript(text, names)
    for one in quotients(tree):
        expected = "Math.floor(a / b)"
        raise ExpressionError("a quotient with a fraction", one.offset, one.width, expected)
    return tree


def _names_in(tree: Tree) -> Iterator[Tree]:
    yield tree
    for part in parts_of_tree(tree):
        yield from _names_in(part)


class _Names:
    """What the names in one expression mean; `read` gathers the variables, `words` the texts."""

    def __init__(
        self, chart: Chart, variables: Mapping[str, ChartVariable], data: EventData
    ) -> None:
        self._chart = chart
        self._variables = variables
        self._data = data
        self.read: set[str] = set()
        self.words: list[str] = []

    def variable(self, name: str, offset: int) -> Name:
        found = self._variables.get(name)
        width = len(name)
        if found is None:
            message = f"there is no variable {name!r}"
            raise MeaningError(message, offset, width, "", name, list(self._variables))
        if found.drafted is None and not found.scratch:
            raise Unknowable
        self.read.add(name)
        if found.reads:
            tree = parse_condition(found.reads)
            assert isinstance(tree, Name), "checked when it was declared"
            return replace(tree, offset=offset, width=width)
        known = found.drafted.name if found.drafted is not None else name
        return Name((known,), offset, width)

    def state(self, name: str, offset: int) -> Name:
        found = self._chart.states.get(name)
        if found is None or not found.name:
            message = f"unknown state {name!r}"
            raise MeaningError(message, offset, len(name), "", name, list(self._chart.states))
        return Name((found.name,), offset, len(name))

    def word(self, text: str, offset: int) -> Name:
        if not IDENTIFIER.fullmatch(text):
            expected = "a word of letters, digits and _"
            raise ExpressionError(f"the text {text!r}", offset, max(len(text), 1), expected)
        self.words.append(text)
        return Name((text,), offset, len(text))

    def data(self, name: str, offset: int) -> Name:
        width = len("_event.data.") + len(name)
        if not self._data.carries:
            raise ExpressionError("there is no event here", offset, width, "a transition's event")
        if name == "late" and self._chart.own:
            return Name(("late",), offset, width)
        if self._data.name not in ("", name):
            message = f"an event that brings along both {self._data.name!r} and {name!r}"
            raise ExpressionError(message, offset, width, "a message carries one value")
        self._data.name = name
        return Name(("value",), offset, width)


def _states(chart: Chart) -> dict[str, State]:
    """The states as expressions see them."""
    found = {}
    for one in chart.all:
        if one.name:
            leaves = tuple(inner.name for inner in one.inside if not inner.children)
            children = tuple(child.name for child in one.children)
            place = one.node.place
            initial, *_, last = (one.name, *(inner.name for inner in one.entered))
            found[one.name] = State(
                one.name, _parent(one), children, initial, leaves, last, False, 0, place
            )
    return found


def _parent(state: ChartState) -> str | None:
    return state.parent.name or None if state.parent is not None else None


def _own_variables(variables: Mapping[str, ChartVariable]) -> dict[str, Variable]:
    own = (one for one in variables.values() if one.drafted is not None and not one.reads)
    return {found.name: found for found in map(_variable, own)}


def _variable(one: ChartVariable, name: str = "") -> Variable:
    drafted = one.drafted
    assert drafted is not None
    start, length = drafted.start, drafted.length
    return Variable(name or drafted.name, drafted.type, start, length, False, one.place)


def _others(variables: Mapping[str, ChartVariable]) -> dict[str, ChipOutline]:
    """Other chips, with what is read of them: a state is a condition like any other there."""
    members: dict[str, dict[str, Variable]] = {}
    for one in variables.values():
        if one.reads and one.drafted is not None:
            chip, _, member = one.reads.partition(".")
            members.setdefault(chip, {})[member] = _variable(one, member)
    return {chip: ChipOutline(chip, {}, known) for chip, known in members.items()}
