"""Read the expressions of ECMAScript that the model has, too, as its own syntax trees.

Integers, strings, `true` and `false`, `null`, variables, items of arrays, `! - && || == != === !==
< <= > >= + - * %`, `?:`, `In('state')`, `Math.min`, `Math.max`, `Math.floor(a / b)` and
`_event.data.NAME`. Offsets in the trees are those in the text, so that later errors find them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Protocol

from modecheck.model.syntax import (
    DEEPEST,
    LONGEST,
    LONGEST_SUM,
    Apply,
    ExpressionError,
    Member,
    Name,
    Number,
    Tree,
)

TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+(?:\.\d+)?)|(?P<string>'[^'\\]*'|\"[^\"\\]*\")|(?P<name>[^\W\d][\w$]*)"
    r"|(?P<mark>===|!==|==|!=|<=|>=|&&|\|\||[-+*/%<>!?:()\[\].,]))"
)
LEVELS = (("||",), ("&&",), ("==", "!=", "===", "!=="), ("<", "<=", ">", ">="), ("+", "-"))
"""Binary operators, those that bind least first; products come after them."""

OURS = {"||": "or", "&&": "and", "===": "==", "!==": "!="}
TRUNCATED = "truncated remainder"
"""The operator `%`, whose result has the sign of its first operand: that of the model has the sign
of the second one, so that they are the same where neither is negative.
"""

WHAT_THERE_IS = "In('state'), Math.min(…), Math.max(…) or Math.floor(a / b)"
LARGEST = 2**31 - 1


class EcmaNames(Protocol):
    """What names in an expression mean; each raises `ExpressionError` for one without a meaning."""

    def variable(self, name: str, offset: int) -> Name:
        """A variable of the data model."""

    def state(self, name: str, offset: int) -> Name:
        """A state of the chart."""

    def word(self, text: str, offset: int) -> Name:
        """A value that is a string."""

    def data(self, name: str, offset: int) -> Name:
        """What the event brings along under a name."""


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str
    text: str
    offset: int


def parse_ecmascript(text: str, names: EcmaNames) -> Tree:
    """The tree of a whole expression. Raises `ExpressionError`."""
    parser = _EcmaParser(text, names)
    tree = parser.choice()
    parser.end()
    return tree


def _tokens(text: str) -> list[_Token]:
    if len(text) > LONGEST:
        raise ExpressionError("the expression is too long", 0, 1, f"at most {LONGEST} characters")
    found, position, end = [], 0, len(text.rstrip())
    while position < end:
        match = TOKEN.match(text, position)
        if match is None:
            at = position + len(text[position:]) - len(text[position:].lstrip())
            expected = "an operator, a name, a number or a string"
            raise ExpressionError(f"{text[at]!r} is not allowed here", at, 1, expected)
        kind = str(match.lastgroup)
        found.append(_Token(kind, match[kind], match.start(kind)))
        position = match.end()
    return found


class _EcmaParser:
    """Recursive descent, with bounded depth."""

    def __init__(self, text: str, names: EcmaNames) -> None:
        self._end = len(text.rstrip())
        self._tokens = _tokens(text)
        self._next = 0
        self._depth = 0
        self._names = names

    def _peek(self) -> str:
        return self._tokens[self._next].text if self._next < len(self._tokens) else ""

    def _offset(self) -> int:
        ahead = self._next < len(self._tokens)
        return self._tokens[self._next].offset if ahead else self._end

    def _take(self, *texts: str) -> str:
        found = self._peek()
        if found and found in texts:
            self._next += 1
            return found
        return ""

    def _need(self, text: str) -> None:
        if not self._take(text):
            raise self._unexpected(repr(text))

    def _unexpected(self, expected: str) -> ExpressionError:
        found = self._peek()
        message = f"unexpected {found!r}" if found else "the expression is incomplete"
        return ExpressionError(message, self._offset(), max(len(found), 1), expected)

    def _width(self, start: int) -> int:
        last = self._tokens[self._next - 1]
        return last.offset + len(last.text) - start

    def _apply(self, operator: str, start: int, *arguments: Tree) -> Apply:
        return Apply(operator, arguments, start, self._width(start))

    def end(self) -> None:
        if self._next < len(self._tokens):
            raise self._unexpected("an operator or the end")

    def choice(self) -> Tree:
        start = self._offset()
        self._depth += 1
        if self._depth > DEEPEST:
            expected = f"at most {DEEPEST} levels"
            raise ExpressionError("the expression is nested too deeply", start, 1, expected)
        value = self._binary(0)
        if self._take("?"):
            yes = self.choice()
            self._need(":")
            value = self._apply("if", start, value, yes, self.choice())
        self._depth -= 1
        return value

    def _binary(self, level: int) -> Tree:
        if level == len(LEVELS):
            return self._product()
        start = self._offset()
        value, terms = self._binary(level + 1), 1
        while operator := self._take(*LEVELS[level]):
            terms += 1
            self._need_short(terms, start)
            right = self._binary(level + 1)
            value = self._joined(OURS.get(operator, operator), start, value, right)
        return _in_states(value)

    def _need_short(self, terms: int, start: int) -> None:
        """Terms nest to the left, so that many of them are as deep as many brackets."""
        if terms > LONGEST_SUM:
            expected = f"at most {LONGEST_SUM} terms"
            raise ExpressionError("the expression is too long", start, 1, expected)

    def _joined(self, operator: str, start: int, left: Tree, right: Tree) -> Tree:
        joins = operator in ("and", "or")
        if joins and isinstance(left, Apply) and left.operator == operator:
            return self._apply(operator, start, *left.arguments, right)
        remainder = _remainder(left, right) if operator == "-" else None
        if remainder is not None:
            return self._apply("%", start, *remainder)
        return self._apply(operator, start, left, right)

    def _product(self) -> Tree:
        start = self._offset()
        value, factors = self._unary(), 1
        while operator := self._take("*", "/", "%"):
            factors += 1
            self._need_short(factors, start)
            named = TRUNCATED if operator == "%" else operator
            value = self._apply(named, start, value, self._unary())
        return value

    def _unary(self) -> Tree:
        start = self._offset()
        operator = self._take("!", "-", "+")
        if not operator:
            return self._postfix()
        self._depth += 1
        if self._depth > DEEPEST:
            expected = f"at most {DEEPEST} levels"
            raise ExpressionError("the expression is nested too deeply", start, 1, expected)
        inside = self._unary()
        self._depth -= 1
        if operator == "-" and isinstance(inside, Number):
            return Number(-inside.value, start, self._width(start))
        if operator == "+":
            return inside
        return self._apply("not" if operator == "!" else "neg", start, inside)

    def _postfix(self) -> Tree:
        start = self._offset()
        if self._take("("):
            value = self.choice()
            self._need(")")
            return value
        if self._next == len(self._tokens):
            raise self._unexpected("a value")
        token = self._tokens[self._next]
        self._next += 1
        if token.kind == "number":
            return self._number(token)
        if token.kind == "string":
            return self._names.word(token.text[1:-1], token.offset + 1)
        if token.kind != "name":
            self._next -= 1
            raise self._unexpected("a value")
        if token.text in ("true", "false", "null"):
            word = "none" if token.text == "null" else token.text
            return Name((word,), start, len(token.text))
        return self._named(token)

    def _number(self, token: _Token) -> Number:
        width = len(token.text)
        if "." in token.text:
            raise ExpressionError("a number with a fraction", token.offset, width, "an integer")
        if width > 1 and token.text.startswith("0"):
            message = "a number that begins with 0, which some read as an octal one"
            raise ExpressionError(message, token.offset, width, "a decimal number")
        if width > 10 or int(token.text) > LARGEST:
            expected = f"at most {LARGEST}"
            raise ExpressionError("the number is too large", token.offset, width, expected)
        return Number(int(token.text), token.offset, width)

    def _named(self, token: _Token) -> Tree:
        path = [token.text]
        while self._take("."):
            if self._next == len(self._tokens) or self._tokens[self._next].kind != "name":
                raise self._unexpected("a name after '.'")
            path.append(self._peek())
            self._next += 1
        dotted = ".".join(path)
        if self._take("("):
            return self._called(dotted, token.offset)
        if path[0] == "_event":
            return self._of_event(path, token.offset)
        if len(path) > 1:
            message = f"{dotted!r} is a part of a value"
            raise ExpressionError(message, token.offset, len(dotted), "a variable")
        name = self._names.variable(dotted, token.offset)
        if self._take("["):
            index = self.choice()
            self._need("]")
            return Name(name.parts, name.offset, self._width(name.offset), index)
        return name

    def _of_event(self, path: list[str], offset: int) -> Tree:
        if path[:2] != ["_event", "data"] or len(path) != 3:
            width = len(".".join(path))
            message = f"{'.'.join(path)!r}: of an event only what it brings along can be read"
            raise ExpressionError(message, offset, width, "_event.data.value")
        return self._names.data(path[2], offset)

    def _called(self, function: str, start: int) -> Tree:
        if function == "In":
            return self._in_state(start)
        if function not in ("Math.min", "Math.max", "Math.floor"):
            message = f"there is no function {function!r} in a model"
            raise ExpressionError(message, start, len(function), WHAT_THERE_IS)
        arguments = [self.choice()]
        while self._take(","):
            arguments.append(self.choice())
        self._need(")")
        if function != "Math.floor":
            return self._apply(function[5:], start, *arguments)
        inside = arguments[0]
        if len(arguments) > 1 or not (isinstance(inside, Apply) and inside.operator == "/"):
            expected = "Math.floor(a / b)"
            raise ExpressionError("not a quotient", inside.offset, inside.width, expected)
        return self._apply("//", start, *inside.arguments)

    def _in_state(self, start: int) -> Tree:
        token = self._tokens[self._next] if self._next < len(self._tokens) else None
        if token is None or token.kind != "string":
            raise self._unexpected("the name of a state, in quotes")
        self._next += 1
        state = self._names.state(token.text[1:-1], token.offset + 1)
        self._need(")")
        return self._apply("==", start, Name(("state",), start, 2), state)


def quotients(tree: Tree) -> list[Apply]:
    """Quotients that are not rounded down, which a model does not have."""
    found = [tree] if isinstance(tree, Apply) and tree.operator == "/" else []
    return found + [one for part in parts_of_tree(tree) for one in quotients(part)]


def parts_of_tree(tree: Tree) -> tuple[Tree, ...]:
    """What stands directly inside."""
    match tree:
        case Apply():
            return tree.arguments
        case Member():
            return (tree.item, *tree.choices)
        case Name():
            return () if tree.index is None else (tree.index,)
    return ()


def alike(one: Tree, two: Tree) -> bool:
    """Whether two trees are the same, wherever they stand."""
    match one, two:
        case Number(), Number():
            return one.value == two.value
        case Name(), Name():
            inside = one.index, two.index
            same = None not in inside or inside == (None, None)
            return one.parts == two.parts and same and _all_alike(one, two)
        case Apply(), Apply():
            return one.operator == two.operator and _all_alike(one, two)
        case Member(), Member():
            return _all_alike(one, two)
    return False


def _all_alike(one: Tree, two: Tree) -> bool:
    first, second = parts_of_tree(one), parts_of_tree(two)
    return len(first) == len(second) and all(map(alike, first, second))


def _remainder(left: Tree, right: Tree) -> tuple[Tree, Tree] | None:
    """`a - b * Math.floor(a / b)` is a remainder with the sign of b, as the model has it."""
    match right:
        case Apply("*", (divisor, Apply("//", (dividend, same)))):
            if alike(left, dividend) and alike(divisor, same):
                return left, divisor
    return None


def _in_states(tree: Tree) -> Tree:
    """Tests for several states of the chip side by side as one: `state in [a, b]`."""
    if not (isinstance(tree, Apply) and tree.operator == "or"):
        return tree
    parts: list[Tree] = []
    for one in tree.arguments:
        state, before = _state_of(one), parts[-1] if parts else None
        known = _state_of(before) if before is not None else ()
        if state and known and isinstance(one, Apply) and before is not None:
            width = one.offset + one.width - before.offset
            item = Name(("state",), before.offset, 2)
            parts[-1] = Member(item, (*known, *state), before.offset, width)
        else:
            parts.append(one)
    return parts[0] if len(parts) == 1 else Apply("or", tuple(parts), tree.offset, tree.width)


def _state_of(tree: Tree) -> tuple[Tree, ...]:
    """The states that a test for the chip's own state names; nothing for any other tree."""
    match tree:
        case Apply("==", (Name(("state",)), state)):
            return (state,)
        case Member(Name(("state",)), choices):
            return choices
    return ()
