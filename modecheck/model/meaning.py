"""What the names in an expression mean, and whether the types fit.

Turns a syntax tree into a term. A name is looked up as, in this order: a parameter of the chip
(which is replaced by its value), a word of the type that is expected here, a variable of the chip
itself, an option. `chip.name` is a variable of another chip or, if it has none, whether that chip
is in the state of that name. A chip with copies is named with a number; functions over all copies
are written out here. Every error is a `MeaningError` with its offset in the text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from modecheck.model.copies import OWN_NUMBER, parts_of
from modecheck.model.copy_names import event_name, filled_in, is_any, of_several
from modecheck.model.event_calls import UnknownEvent, event_of
from modecheck.model.scopes import (
    ChipOutline,
    MeaningError,
    Scope,
    Typed,
    Unknowable,
    error_at,
)
from modecheck.model.shared_values import NamedConstant, item_of
from modecheck.model.syntax import OVER_ALL, Apply, Call, Member, Name, Number, Tree
from modecheck.model.terms import (
    FALSE,
    TRUE,
    Constant,
    InState,
    IsLate,
    Operation,
    Payload,
    ReadVariable,
    Term,
)
from modecheck.model.values import TRUTH, ValueType, number_type, product_bounds

ORDERINGS = frozenset({"<", "<=", ">", ">="})
LARGEST_RESULT = 2**53
"""Of an expression: far beyond any variable, and far within 64 bits."""


def understand(tree: Tree, scope: Scope, want: ValueType | None = None) -> Typed:
    """The typed term of a tree; `want` is the type that its context expects, if any."""
    return _Understanding(scope).value(tree, want)


def understand_condition(tree: Tree, scope: Scope) -> Term:
    """The term of a tree that must be true or false."""
    return _Understanding(scope).truth(tree)


def understand_items(tree: Tree, scope: Scope) -> tuple[Typed, ...]:
    """What an item of a list of the device stands for: more than one if it names all copies."""
    return tuple(item for _, item in _Understanding(scope).items(tree))


class _Understanding:
    def __init__(self, scope: Scope) -> None:
        self._scope = scope

    def truth(self, tree: Tree) -> Term:
        typed = self.value(tree, TRUTH)
        self._need_kind(typed, tree, {"truth"}, "a condition that is true or false")
        return typed.term

    def _number(self, tree: Tree) -> Typed:
        typed = self.value(tree, None)
        self._need_kind(typed, tree, {"number", "bond"}, "a number")
        return typed

    def _need_kind(self, typed: Typed, tree: Tree, kinds: set[str], expected: str) -> None:
        if typed.type.kind not in kinds:
            raise error_at(tree, f"this is {typed.type}", expected=expected)

    def value(self, tree: Tree, want: ValueType | None) -> Typed:
        if isinstance(tree, Number):
            return Typed(Constant(tree.value), number_type(tree.value, tree.value))
        if isinstance(tree, Name):
            return self._name(tree, want)
        if isinstance(tree, Member):
            return Typed(self._member(tree), TRUTH)
        if isinstance(tree, Call):
            return Typed(self._call(tree), TRUTH)
        if tree.operator in OVER_ALL:
            return self._over_all(tree)
        return self._apply(tree, want)

    def _over_all(self, tree: Apply) -> Typed:
        """A function over all copies of a chip, the items of lists, or the values given."""
        items = [pair for argument in tree.arguments for pair in self.items(argument)]
        if tree.operator == "sum":
            for argument, item in items:
                expected = "a number; 'count' counts conditions"
                self._need_kind(item, argument, {"number", "bond"}, expected)
            total = _reach("+", [item.type for _, item in items])
            return Typed(_joined("+", [item.term for _, item in items]), total)
        for argument, item in items:
            self._need_kind(item, argument, {"truth"}, "a condition that is true or false")
        terms = [item.term for _, item in items]
        if tree.operator == "count":
            ones = [Operation("if", (term, TRUE, FALSE)) for term in terms]
            return Typed(_joined("+", ones), number_type(0, len(ones)))
        junction = {"any": "or", "all": "and"}[tree.operator]
        return Typed(terms[0] if len(terms) == 1 else Operation(junction, tuple(terms)), TRUTH)

    def items(self, tree: Tree) -> list[tuple[Tree, Typed]]:
        """What an argument of a function over all stands for: the items of a list, the expression
        for each copy of the chip that it names without a number, or itself.
        """
        if isinstance(tree, Name) and tree.text in self._scope.lists and tree.index is None:
            if not self._scope.lists[tree.text]:
                raise Unknowable
            return [(tree, item) for item in self._scope.lists[tree.text]]
        names = [part for part in parts_of(tree, into=False) if isinstance(part, Name)]
        groups = {name.parts[0]: name for name in names if is_any(name, self._scope)}
        if not groups:
            return [(tree, self.value(tree, None))]
        if len(groups) > 1:
            one, two = list(groups)[:2]
            expected = f"a number for one of them, such as {two}[{OWN_NUMBER}]"
            raise error_at(groups[two], f"both {one!r} and {two!r} have copies", expected=expected)
        name = next(iter(groups))
        scopes = [
            self._scope.for_copy(name, number + 1)
            for number in range(self._scope.copies.counts[name])
        ]
        return [(tree, _Understanding(scope).value(tree, None)) for scope in scopes]

    def _call(self, call: Call) -> Term:
        steps = self._scope.steps
        if steps is None:
            message = f"{call.word}(…) is an event of a step, not a state"
            expected = "events only in a requirement, and not in 'possible' or 'recoverable'"
            raise error_at(call, message, expected=expected)
        name = event_name(call, self._scope)
        if name.parts[0] in self._scope.broken:
            raise Unknowable
        try:
            return event_of(replace(call, name=name), steps)
        except UnknownEvent as unknown:
            if not steps.whole:
                raise Unknowable from None
            raise error_at(
                call.name,
                unknown.message,
                expected=unknown.expected,
                word=unknown.word,
                choices=unknown.choices,
            ) from unknown

    def _apply(self, tree: Apply, want: ValueType | None) -> Typed:
        operator, arguments = tree.operator, tree.arguments
        if operator in ("and", "or", "not"):
            terms = tuple(self.truth(argument) for argument in arguments)
            return Typed(Operation(operator, terms), TRUTH)
        if operator in ("==", "!="):
            equal = self._equal(arguments[0], arguments[1], tree)
            return Typed(equal if operator == "==" else Operation("not", (equal,)), TRUTH)
        if operator == "if":
            return self._choice(tree, want)
        numbers = [self._number(argument) for argument in arguments]
        term = Operation(operator, tuple(number.term for number in numbers))
        if operator in ORDERINGS:
            return Typed(term, TRUTH)
        if operator in ("//", "%"):
            _need_divisor(arguments[1], numbers[1].type)
        reach = _reach(operator, [number.type for number in numbers])
        if max(-reach.low, reach.high) > LARGEST_RESULT:
            message = f"this can be as large as {max(-reach.low, reach.high)}"
            raise error_at(tree, message, expected=f"at most {LARGEST_RESULT}")
        return Typed(term, reach)

    def _choice(self, tree: Apply, want: ValueType | None) -> Typed:
        test = self.truth(tree.arguments[0])
        yes = self.value(tree.arguments[1], want)
        no = self.value(tree.arguments[2], want or yes.type)
        if not _comparable(yes.type, no.type):
            raise error_at(tree.arguments[2], f"this is {no.type}", expected=str(yes.type))
        low, high = min(yes.type.low, no.type.low), max(yes.type.high, no.type.high)
        type_ = replace(yes.type, low=low, high=high) if yes.type.kind == "number" else yes.type
        return Typed(Operation("if", (test, yes.term, no.term)), type_)

    def _equal(self, left: Tree, right: Tree, whole: Tree) -> Term:
        for state, other in ((left, right), (right, left)):
            chip = self._state_of(state)
            if chip is not None:
                return self._in_states(chip, (other,))
        filled = filled_in(left, self._scope), filled_in(right, self._scope)
        if all(map(self._unknown_word, filled)):
            return self._equal_words(*filled)
        if self._unknown_word(filled[0]):
            left, right = right, left
        one = self.value(left, None)
        two = self.value(right, one.type)
        if not _comparable(one.type, two.type):
            message = f"{one.type} cannot equal {two.type}"
            raise error_at(whole, message, expected="two values of the same type")
        if self._scope.own is None:
            _need_within_reach(left, one.type, two)
            _need_within_reach(right, two.type, one)
        return Operation("==", (one.term, two.term))

    def _equal_words(self, left: Tree, right: Tree) -> Term:
        """Two unknown words: allowed if a parameter's value is one of them (`side == front`)."""
        assert isinstance(left, Name)
        assert isinstance(right, Name)
        if left.text in self._scope.parameters.values():
            return TRUE if left.text == right.text else FALSE
        raise self._unknown(left)

    def _unknown_word(self, tree: Tree) -> bool:
        if not isinstance(tree, Name) or tree.index is not None or len(tree.parts) > 1:
            return False
        return self._lookup(tree, None) is None

    def _state_of(self, tree: Tree) -> ChipOutline | None:
        """The chip whose state the tree names, if it is `state` or `chip.state`."""
        if not isinstance(tree, Name) or tree.parts[-1] != "state" or tree.index is not None:
            return None
        if len(tree.parts) == 1:
            return self._scope.own
        filled = filled_in(tree, self._scope)
        return self._chip(filled) if isinstance(filled, Name) and len(filled.parts) == 2 else None

    def _chip(self, name: Name) -> ChipOutline:
        chip = self._scope.chips.get(name.parts[0])
        if name.parts[0] in self._scope.broken:
            raise Unknowable
        if chip is None:
            message = f"unknown chip {name.parts[0]!r}"
            raise error_at(name, message, word=name.parts[0], choices=self._scope.chips)
        return chip

    def _in_states(self, chip: ChipOutline, names: tuple[Tree, ...]) -> Term:
        leaves: set[str] = set()
        for tree in names:
            filled = filled_in(tree, self._scope)
            if not isinstance(filled, Name) or len(filled.parts) > 1 or filled.index:
                raise error_at(tree, "not the name of a state", expected=f"a state of {chip.name}")
            leaves.update(self._leaves(chip, filled, filled.text))
        return InState(chip.name, frozenset(leaves))

    def _leaves(self, chip: ChipOutline, name: Name, state: str) -> tuple[str, ...]:
        if state not in chip.states:
            owner = "this chip" if chip is self._scope.own else chip.name
            message = f"{owner} has no state {state!r}"
            raise error_at(name, message, word=state, choices=chip.states)
        return chip.states[state].leaves

    def _member(self, tree: Member) -> Term:
        chip = self._state_of(tree.item)
        if chip is not None:
            return self._in_states(chip, tree.choices)
        tests = tuple(self._equal(tree.item, choice, tree) for choice in tree.choices)
        return tests[0] if len(tests) == 1 else Operation("or", tests)

    def _name(self, name: Name, want: ValueType | None) -> Typed:
        filled = filled_in(name, self._scope)
        if not isinstance(filled, Name):
            return self.value(filled, want)
        found = self._lookup(filled, want)
        if found is None:
            raise self._unknown(filled, want)
        return found

    def _unknown(self, name: Name, want: ValueType | None = None) -> MeaningError:
        words = [*(want.words if want else ()), *self._scope.words()]
        if name.text == "value" and self._scope.in_event:
            if self._scope.shared.has_unclear_signals:
                raise Unknowable
            expected = "a message or a signal with a value"
            return error_at(name, "the event carries no value", expected=expected)
        if name.text in ("value", "late"):
            return error_at(name, f"{name.text!r} needs a message", expected="a rule with 'on'")
        if name.text == "state":
            return error_at(
                name, "a state can only be compared", expected="state == …, or state in […]"
            )
        if name.text in self._scope.copies.counts:
            return of_several(name, self._scope)
        if name.text in self._scope.lists:
            expected = ", ".join(f"{word}({name.text})" for word in OVER_ALL)
            return error_at(name, f"{name.text!r} is a list", expected=expected)
        if name.text in self._scope.chips:
            expected = f"{name.text}.state == …, or a variable of {name.text}"
            return error_at(name, f"{name.text!r} is a chip", expected=expected)
        word = "none" if name.text == "null" and "none" in words else name.text
        return error_at(name, f"unknown name {name.text!r}", word=word, choices=words)

    def _lookup(self, name: Name, want: ValueType | None) -> Typed | None:
        if len(name.parts) == 1:
            return self._plain_name(name, want)
        if len(name.parts) == 2:
            return self._name_of_chip(name)
        raise error_at(name, f"{name.text!r} has too many dots", expected="chip.variable")

    def _plain_name(self, name: Name, want: ValueType | None) -> Typed | None:
        word, scope = name.text, self._scope
        named = want.value_of(word) if want is not None and want.kind != "number" else None
        if named is not None and want is not None and name.index is None:
            return Typed(Constant(named), want)
        if scope.own is not None and word in scope.own.variables:
            return self._variable(scope.own, name)
        if word in scope.broken or (scope.own is not None and word in scope.own.broken):
            raise Unknowable
        constants = scope.shared.constants if scope.own is None else scope.own.constants
        if word in constants:
            return self._constant(constants[word], name)
        if name.index is not None:
            return None
        truths = {"true": Typed(TRUE, TRUTH), "false": Typed(FALSE, TRUTH)}
        if word in truths:
            return truths[word]
        if word == "none" and want is None:
            return Typed(Constant(0), number_type(0, 0))
        if word in scope.options:
            return Typed(Constant(scope.options[word].value), scope.options[word].type)
        if word in scope.conditions:
            return Typed(scope.conditions[word], TRUTH)
        return self._word_of_event(word)

    def _word_of_event(self, word: str) -> Typed | None:
        if word == "late" and self._scope.in_event:
            return Typed(IsLate(), TRUTH)
        if word == "value" and self._scope.payload is not None:
            return Typed(Payload(), self._scope.payload)
        return None

    def _name_of_chip(self, name: Name) -> Typed:
        chip, member = self._chip(name), name.parts[1]
        if member in chip.broken:
            raise Unknowable
        if member in chip.variables:
            return self._variable(chip, replace(name, parts=(member,)))
        if member in chip.constants:
            return self._constant(chip.constants[member], name)
        if member in chip.states and name.index is None:
            return Typed(InState(chip.name, frozenset(chip.states[member].leaves)), TRUTH)
        if member == "state":
            raise self._unknown(replace(name, parts=("state",)))
        message = f"{chip.name} has no variable or state {member!r}"
        raise error_at(name, message, word=member, choices=[*chip.variables, *chip.states])

    def _constant(self, constant: NamedConstant, name: Name) -> Typed:
        """Its value; of a table the item at an index, which has to be within it in every state."""
        if constant.table and name.index is None:
            raise error_at(name, f"{name.text!r} is a table", expected=f"{name.text}[index]")
        if name.index is None:
            return Typed(Constant(constant.values[0]), constant.type)
        if not constant.table:
            raise error_at(name, f"{name.text!r} is not a table", expected=name.text)
        index, last = self._number(name.index), len(constant.values) - 1
        if index.type.low < 0 or index.type.high > last:
            most = index.type.high if index.type.high > last else index.type.low
            expected = f"an index from 0 to {last}, such as min(…, {last})"
            raise error_at(name.index, f"the index can be {most}", expected=expected)
        values = constant.values[index.type.low : index.type.high + 1]
        type_ = constant.type if constant.type == TRUTH else number_type(min(values), max(values))
        return Typed(item_of(values, index.term, index.type.low), type_)

    def _variable(self, chip: ChipOutline, name: Name) -> Typed:
        variable = chip.variables[name.text]
        if variable.length and name.index is None:
            raise error_at(name, f"{name.text!r} is a list", expected=f"{name.text}[index]")
        if name.index is not None and not variable.length:
            raise error_at(name, f"{name.text!r} is not a list", expected=name.text)
        index = self._number(name.index).term if name.index is not None else None
        if isinstance(index, Constant) and not 0 <= index.value < variable.length:
            expected = f"an index from 0 to {variable.length - 1}"
            raise error_at(name, f"there is no item {index.value}", expected=expected)
        return Typed(ReadVariable(chip.name, variable.name, index), variable.type)


def _comparable(one: ValueType, two: ValueType) -> bool:
    numeric = {"number", "bond"}
    if one.kind in numeric and two.kind in numeric:
        return True
    return one.kind == two.kind and one.words == two.words


def _need_within_reach(tree: Tree, type_: ValueType, other: Typed) -> None:
    """A literal that a variable can never be is a slip, and would make a `never` hold for no good
    reason. A constant or a parameter may be out of reach in one device and not in another. A rule
    with such a condition is found to be dead.
    """
    is_literal = isinstance(tree, Number) or (
        isinstance(tree, Apply) and tree.operator == "neg" and isinstance(tree.arguments[0], Number)
    )
    if not (is_literal and isinstance(other.term, ReadVariable)) or other.type.holds(type_.low):
        return
    raise error_at(tree, f"{other.type} is never {type_.low}", expected="one of its values")


def _joined(operator: str, terms: Sequence[Term]) -> Term:
    """The terms joined two by two, so that many do not nest deeply."""
    while len(terms) > 1:
        pairs = [tuple(terms[n : n + 2]) for n in range(0, len(terms), 2)]
        terms = [Operation(operator, pair) if len(pair) > 1 else pair[0] for pair in pairs]
    return terms[0]


def _need_divisor(tree: Tree, type_: ValueType) -> None:
    """A divisor is never 0, whatever the variables hold."""
    if type_.low <= 0 <= type_.high:
        held = "0" if type_.low == type_.high else f"{type_}, so it can be 0"
        raise error_at(tree, f"the divisor is {held}", expected="one that is never 0: max(…, 1)")


def _reach(operator: str, types: list[ValueType]) -> ValueType:
    """The range that a sum, difference, minimum or maximum of such numbers can have."""
    lows, highs = [type_.low for type_ in types], [type_.high for type_ in types]
    if operator == "neg":
        return number_type(-highs[0], -lows[0])
    if operator == "-":
        return number_type(lows[0] - highs[1], highs[0] - lows[1])
    if operator in ("*", "//", "%"):
        bounds = [(type_.low, type_.high) for type_ in types]
        return number_type(*product_bounds(operator, bounds[0], bounds[1]))
    combine = {"+": sum, "min": min, "max": max}[operator]
    return number_type(combine(lows), combine(highs))  # type: ignore[operator]
