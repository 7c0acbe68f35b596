"""The grammar of conditions, assignments and sends: text to a syntax tree with offsets.

    condition   = choice
    choice      = either ["if" either "else" choice]
    either      = both {"or" both}
    both        = negation {"and" negation}
    negation    = "not" negation | comparison
    comparison  = sum {("==" | "!=" | "<" | "<=" | ">" | ">=") sum}
                | sum ["not"] "in" "[" choice {"," choice} "]"
    sum         = product {("+" | "-") product}
    product     = sign {("*" | "//" | "%") sign}
    sign        = "-" sign | atom
    atom        = integer | path | "(" choice ")"
                | ("min" | "max" | "count" | "any" | "all" | "sum") "(" choice {"," choice} ")"
                | event "(" path ")"                   (only in requirements)
    path        = name ["[" choice "]"] {"." name} ["[" choice "]"]
    event       = "sent" | "accepted" | "delivered" | "dropped" | "signalled" | "taken"
    assignment  = target {"," target} "=" choice {"," choice} | target ("+=" | "-=") choice
    send        = name ["(" choice ")"] ["via" path]
    signal      = path ["(" choice ")"]

Nothing is looked up here: `modecheck.model.meaning` resolves the names.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TypeAlias

from modecheck.model import renamed_words
from modecheck.model.renamed_words import called_now

LONGEST = 2000
"""Characters of one expression; the longest in real models is a few hundred."""

DEEPEST = 40
"""Levels of nesting in one expression: keeps the recursion of every later stage shallow."""

LONGEST_SUM = 100
LONGEST_PRODUCT = 20
"""Terms of one sum, factors of one product, which nest to the left: the same reason."""

TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+)|(?P<name>[^\W\d]\w*)|(?P<mark>==|!=|<=|>=|\+=|-=|//|&&|\|\||[-+<>=!()\[\],.&|*/%]))"
)
FROM_C = {"&&": "and", "||": "or", "!": "not", "/": "'//', which rounds down"}
PRODUCTS = ("*", "//", "%")
COMPARISONS = ("==", "!=", "<=", ">=", "<", ">")
OVER_ALL = ("count", "any", "all", "sum")
"""Functions over all copies of a chip, the items of a list of the device, or what is given."""
EVENT_WORDS = ("sent", "accepted", "delivered", "dropped", "signalled", "taken")
KEYWORDS = frozenset({"and", "or", "not", "in", "if", "else", "via"})


@dataclass(eq=False)
class ExpressionError(Exception):
    """The text does not follow the grammar at `offset` (0-based, in characters). `choices` are the
    known words in place of `word`.
    """

    message: str
    offset: int
    width: int
    expected: str = ""
    word: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Number:
    value: int
    offset: int
    width: int


@dataclass(frozen=True, slots=True)
class Name:
    """A dotted name such as `retries` or `hub.state`, perhaps with an index.

    `copy` is the number in brackets after the first part, as in `tile[2].state`.
    """

    parts: tuple[str, ...]
    offset: int
    width: int
    index: Tree | None = None
    copy: Tree | None = None

    @property
    def text(self) -> str:
        return ".".join(self.parts)


@dataclass(frozen=True, slots=True)
class Apply:
    """An operator or function with its arguments: not, and, or, ==, +, -, *, //, %, neg, min,
    max, if, and those `OVER_ALL`.
    """

    operator: str
    arguments: tuple[Tree, ...]
    offset: int
    width: int


@dataclass(frozen=True, slots=True)
class Member:
    """`item in [choices]`."""

    item: Tree
    choices: tuple[Tree, ...]
    offset: int
    width: int


@dataclass(frozen=True, slots=True)
class Call:
    """`sent(hub.hello)`: whether something happens in a step."""

    word: str
    name: Name
    offset: int
    width: int


Tree: TypeAlias = Number | Name | Apply | Member | Call


@dataclass(frozen=True, slots=True)
class AssignmentText:
    targets: tuple[Name, ...]
    values: tuple[Tree, ...]


@dataclass(frozen=True, slots=True)
class SendText:
    message: Name
    value: Tree | None
    link: Name | None


@dataclass(frozen=True, slots=True)
class SignalText:
    signal: Name
    value: Tree | None


@dataclass(frozen=True, slots=True)
class _Token:
    text: str
    offset: int
    kind: str


def parse_condition(text: str) -> Tree:
    """The syntax tree of a whole expression. Raises `ExpressionError`."""
    parser = _Parser(text)
    tree = parser.choice()
    parser.end("an operator or the end")
    return tree


def parse_assignment(text: str) -> AssignmentText:
    """`a = 1`, `a, b = b, a`, `a += 1`. Raises `ExpressionError`."""
    parser = _Parser(text)
    result = parser.assignment()
    parser.end("the end of the assignment")
    return result


def parse_send(text: str) -> SendText:
    """`hello via front_up`, `picture(held) via front_air`. Raises `ExpressionError`."""
    parser = _Parser(text)
    result = parser.send()
    parser.end("'via' and a link, or the end")
    return result


def parse_signal(text: str) -> SignalText:
    """`reset`, `level(count + 1)`. Raises `ExpressionError`."""
    parser = _Parser(text)
    result = parser.signal()
    parser.end("the end of the signal")
    return result


def _tokens(text: str) -> list[_Token]:
    if len(text) > LONGEST:
        raise ExpressionError("the expression is too long", 0, 1, f"at most {LONGEST} characters")
    tokens, position = [], 0
    while position < len(text.rstrip()):
        match = TOKEN.match(text, position)
        if match is None:
            at = position + len(text[position:]) - len(text[position:].lstrip())
            raise ExpressionError(f"{text[at]!r} is not allowed here", at, 1, "a name or a number")
        kind = str(match.lastgroup)
        tokens.append(_Token(match[kind], match.start(kind), kind))
        position = match.end()
    return tokens


class _Parser:
    """Recursive descent over the tokens of one expression, with bounded depth."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._tokens = _tokens(text)
        self._next = 0
        self._depth = 0

    def _peek(self) -> str:
        return self._tokens[self._next].text if self._next < len(self._tokens) else ""

    def _offset(self) -> int:
        if self._next < len(self._tokens):
            return self._tokens[self._next].offset
        return len(self._text.rstrip())

    def _fail(self, expected: str) -> ExpressionError:
        found = self._peek()
        width = max(len(found), 1)
        if found in FROM_C:
            return ExpressionError(
                f"{found!r} is not an operator here", self._offset(), width, FROM_C[found]
            )
        if found == "=":
            return ExpressionError(
                "'=' assigns; it does not compare", self._offset(), width, "'=='"
            )
        message = f"unexpected {found!r}" if found else "the expression is incomplete"
        return ExpressionError(message, self._offset(), width, expected)

    def _take(self, text: str) -> bool:
        if self._peek() == text:
            self._next += 1
            return True
        return False

    def _need(self, text: str) -> None:
        if not self._take(text):
            raise self._fail(repr(text))

    def end(self, expected: str) -> None:
        if self._next < len(self._tokens):
            raise self._fail(expected)

    def _width(self, offset: int) -> int:
        last = self._tokens[self._next - 1]
        return last.offset + len(last.text) - offset

    def _apply(self, operator: str, offset: int, *arguments: Tree) -> Apply:
        return Apply(operator, arguments, offset, self._width(offset))

    def choice(self) -> Tree:
        self._depth += 1
        if self._depth > DEEPEST:
            raise ExpressionError(
                "the expression is nested too deeply",
                self._offset(),
                1,
                f"at most {DEEPEST} levels",
            )
        start = self._offset()
        value = self._either()
        if self._take("if"):
            test = self._either()
            self._need("else")
            value = self._apply("if", start, test, value, self.choice())
        self._depth -= 1
        return value

    def _either(self) -> Tree:
        start = self._offset()
        parts = [self._both()]
        while self._take("or"):
            parts.append(self._both())
        return self._apply("or", start, *parts) if len(parts) > 1 else parts[0]

    def _both(self) -> Tree:
        start = self._offset()
        parts = [self._negation()]
        while self._take("and"):
            parts.append(self._negation())
        return self._apply("and", start, *parts) if len(parts) > 1 else parts[0]

    def _negation(self) -> Tree:
        start, count = self._offset(), 0
        while self._take("not"):
            count += 1
        value = self._comparison()
        return self._apply("not", start, value) if count % 2 else value

    def _comparison(self) -> Tree:
        start = self._offset()
        left = self._sum()
        if self._peek() in ("in", "not"):
            return self._membership(start, left)
        tests: list[Tree] = []
        while self._peek() in COMPARISONS:
            operator = self._peek()
            self._next += 1
            right = self._sum()
            tests.append(self._apply(operator, start, left, right))
            left = right
        if not tests:
            return left
        return tests[0] if len(tests) == 1 else self._apply("and", start, *tests)

    def _membership(self, start: int, item: Tree) -> Tree:
        negated = self._take("not")
        self._need("in")
        self._need("[")
        choices = self._listed("]")
        member = Member(item, choices, start, self._width(start))
        return self._apply("not", start, member) if negated else member

    def _listed(self, closing: str) -> tuple[Tree, ...]:
        items = [self.choice()]
        while self._take(","):
            items.append(self.choice())
        if not self._take(closing):
            raise self._fail(f"',' or {closing!r}")
        return tuple(items)

    def _sum(self) -> Tree:
        start, terms = self._offset(), 1
        value = self._product()
        while self._peek() in ("+", "-"):
            operator, terms = self._peek(), terms + 1
            if terms > LONGEST_SUM:
                raise ExpressionError(
                    "the sum is too long", start, 1, f"at most {LONGEST_SUM} terms"
                )
            self._next += 1
            value = self._apply(operator, start, value, self._product())
        return value

    def _product(self) -> Tree:
        start, factors = self._offset(), 1
        value = self._sign()
        while self._peek() in PRODUCTS:
            operator, factors = self._peek(), factors + 1
            if factors > LONGEST_PRODUCT:
                expected = f"at most {LONGEST_PRODUCT} factors"
                raise ExpressionError("the product is too long", start, 1, expected)
            self._next += 1
            value = self._apply(operator, start, value, self._sign())
        return value

    def _sign(self) -> Tree:
        start, count = self._offset(), 0
        while self._take("-"):
            count += 1
        value = self._atom()
        if count % 2 == 0:
            return value
        if isinstance(value, Number):
            return Number(-value.value, start, self._width(start))
        return self._apply("neg", start, value)

    def _atom(self) -> Tree:
        start, word = self._offset(), self._peek()
        if self._take("("):
            value = self.choice()
            self._need(")")
            return value
        if word.isdigit() and word.isascii():
            self._next += 1
            if len(word) > 10 or int(word) > 2**31 - 1:
                raise ExpressionError(
                    "the number is too large", start, len(word), "at most 2147483647"
                )
            return Number(int(word), start, len(word))
        if word in ("min", "max", *OVER_ALL) and self._follows("("):
            self._next += 2
            return self._apply(word, start, *self._listed(")"))
        if word in EVENT_WORDS and self._follows("("):
            return self._call(word, start)
        if word in renamed_words.EVENTS and self._follows("("):
            new = renamed_words.EVENTS[word]
            raise ExpressionError(called_now(word, new), start, len(word), repr(new))
        if self._follows("(") and self._tokens[self._next].kind == "name" and word not in KEYWORDS:
            functions = ("min", "max", *OVER_ALL)
            expected = f"{', '.join(functions)}; in a requirement also {', '.join(EVENT_WORDS)}"
            message, known = f"there is no function {word!r}", (*functions, *EVENT_WORDS)
            raise ExpressionError(message, start, len(word), expected, word, known)
        return self.name("a name, a number or '('")

    def _call(self, word: str, start: int) -> Call:
        self._next += 2
        name = self.name("what happens, such as chip.message")
        self._need(")")
        return Call(word, name, start, self._width(start))

    def _follows(self, text: str) -> bool:
        after = self._next + 1
        return after < len(self._tokens) and self._tokens[after].text == text

    def name(self, expected: str, *, indexed: bool = True) -> Name:
        start = self._offset()
        parts = [self._word(expected)]
        copy, index = None, self._bracketed() if indexed else None
        if self._peek() == ".":
            copy, index = index, None
        while self._take("."):
            parts.append(self._word("a name after '.'"))
        if indexed and index is None:
            index = self._bracketed()
        return Name(tuple(parts), start, self._width(start), index, copy)

    def _bracketed(self) -> Tree | None:
        """What stands in brackets, if there are any."""
        if not self._take("["):
            return None
        inside = self.choice()
        self._need("]")
        return inside

    def _word(self, expected: str) -> str:
        known = self._next < len(self._tokens) and self._tokens[self._next].kind == "name"
        if not known or self._peek() in KEYWORDS:
            raise self._fail(expected)
        self._next += 1
        return self._tokens[self._next - 1].text

    def assignment(self) -> AssignmentText:
        targets = [self.name("a variable to assign")]
        if self._peek() in ("+=", "-="):
            return self._accumulation(targets[0])
        while self._take(","):
            targets.append(self.name("another variable"))
        if not self._take("="):
            found = self._peek()
            expected = "'=' and a value (quote entries that contain a comma)"
            if found in ("+", "-"):
                expected = f"'{targets[0].text} {found}= 1', or {expected}"
            message = f"unexpected {found!r}" if found else "no value is assigned"
            raise ExpressionError(message, self._offset(), max(len(found), 1), expected)
        values = [self.choice()]
        while self._take(","):
            values.append(self.choice())
        if len(values) != len(targets):
            message = f"{len(targets)} variables, but {len(values)} values"
            raise ExpressionError(
                message, 0, len(self._text.rstrip()), "as many values as variables"
            )
        return AssignmentText(tuple(targets), tuple(values))

    def _accumulation(self, target: Name) -> AssignmentText:
        operator = self._peek()[0]
        self._next += 1
        value = self.choice()
        total = self._apply(operator, target.offset, target, value)
        return AssignmentText((target,), (total,))

    def send(self) -> SendText:
        message = self.name("a message", indexed=False)
        value = self._carried()
        link = self.name("the name of a link") if self._take("via") else None
        return SendText(message, value, link)

    def signal(self) -> SignalText:
        return SignalText(self.name("a signal"), self._carried())

    def _carried(self) -> Tree | None:
        """The value in parentheses that a message or a signal carries, if there is one."""
        if not self._take("("):
            return None
        value = self.choice()
        self._need(")")
        return value
