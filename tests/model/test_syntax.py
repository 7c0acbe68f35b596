"""The grammar of expressions: what is printed is parsed back, and errors stand where they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.model.syntax import (
    COMPARISONS,
    DEEPEST,
    KEYWORDS,
    LONGEST,
    LONGEST_SUM,
    Apply,
    Call,
    ExpressionError,
    Member,
    Name,
    Number,
    Tree,
    parse_assignment,
    parse_condition,
    parse_send,
)

MANY = settings(max_examples=3 * settings().max_examples)
"""Three times the examples of the profile: parsing takes microseconds, and trees are many."""

ATOM, SIGN, PRODUCT, SUM, COMPARISON, NEGATION, BOTH, EITHER, CHOICE = range(9)
"""How tightly a tree binds, as in the grammar; a looser one needs brackets."""

LEVELS = {
    "if": CHOICE, "or": EITHER, "and": BOTH, "not": NEGATION, "+": SUM, "-": SUM, "neg": SIGN,
    "*": PRODUCT, "//": PRODUCT, "%": PRODUCT,
}  # fmt: skip
WORDS = st.sampled_from(["hub", "retries", "größe", "x1", "state", "value", "min", "max", "_"])


def level_of(tree: Tree) -> int:
    if isinstance(tree, Apply):
        functions = {"min": ATOM, "max": ATOM}
        return (LEVELS | functions | dict.fromkeys(COMPARISONS, COMPARISON))[tree.operator]
    if isinstance(tree, Member):
        return COMPARISON
    return SIGN if isinstance(tree, Number) and tree.value < 0 else ATOM


def printed(tree: Tree, loosest: int = CHOICE) -> str:
    """The tree as text, with brackets only where the grammar needs them."""
    text = _printed(tree)
    return f"({text})" if level_of(tree) > loosest else text


def _printed(tree: Tree) -> str:
    if isinstance(tree, Number):
        return str(tree.value)
    if isinstance(tree, Name):
        return tree.text + (f"[{printed(tree.index)}]" if tree.index is not None else "")
    if isinstance(tree, Member):
        choices = ", ".join(map(printed, tree.choices))
        return f"{printed(tree.item, SUM)} in [{choices}]"
    if isinstance(tree, Call):
        return f"{tree.word}({tree.name.text})"
    return _applied(tree.operator, tree.arguments)


def _applied(operator: str, arguments: tuple[Tree, ...]) -> str:
    first, last = arguments[0], arguments[-1]
    if operator == "if":
        test, value, other = arguments
        return f"{printed(value, EITHER)} if {printed(test, EITHER)} else {printed(other)}"
    if operator in ("or", "and"):
        inner = BOTH if operator == "or" else NEGATION
        return f" {operator} ".join(printed(argument, inner) for argument in arguments)
    if operator == "not":
        return f"not {printed(first, COMPARISON)}"
    if operator == "neg":
        return f"-{printed(first, ATOM)}"
    if operator in ("min", "max"):
        return f"{operator}({', '.join(map(printed, arguments))})"
    if operator in ("*", "//", "%"):
        return f"{printed(first, PRODUCT)} {operator} {printed(last, SIGN)}"
    left = printed(first, SUM)
    return f"{left} {operator} {printed(last, PRODUCT if operator in '+-' else SUM)}"


def applied(operator: str, *arguments: Tree) -> Apply:
    return Apply(operator, arguments, 0, 0)


NUMBERS = st.integers(-(2**31) + 1, 2**31 - 1).map(lambda value: Number(value, 0, 0))
NAMES = st.lists(WORDS, min_size=1, max_size=3).map(lambda parts: Name(tuple(parts), 0, 0))
LEAVES: st.SearchStrategy[Tree] = NUMBERS | NAMES
ARITY = {
    **dict.fromkeys([*COMPARISONS, "+", "-", "*", "//", "%"], (2, 2)),
    "not": (1, 1), "neg": (1, 1), "if": (3, 3),
    "and": (2, 3), "or": (2, 3), "min": (1, 3), "max": (1, 3), "in": (2, 4), "index": (1, 1),
}  # fmt: skip
"""How many arguments an operator takes; `in` has its item first."""


@st.composite
def trees(draw: st.DrawFn, levels: int = 3) -> Tree:
    """A tree of at most this many levels of operators."""
    if not levels or draw(st.integers(0, 3)) == 0:
        return draw(LEAVES)
    operator = draw(st.sampled_from(list(ARITY)))
    least, most = ARITY[operator]
    parts = draw(st.lists(trees(levels - 1), min_size=least, max_size=most))
    if operator == "in":
        return Member(parts[0], tuple(parts[1:]), 0, 0)
    if operator == "index":
        return Name((draw(WORDS),), 0, 0, parts[0])
    if operator == "neg" and isinstance(parts[0], Number):
        return parts[0]  # a minus before a number belongs to the number
    return applied(operator, *parts)


TREES = trees()


def bare(tree: Tree) -> Tree:
    """The tree without offsets."""
    if isinstance(tree, Number):
        return replace(tree, offset=0, width=0)
    if isinstance(tree, Name):
        index = bare(tree.index) if tree.index is not None else None
        return replace(tree, offset=0, width=0, index=index)
    if isinstance(tree, Member):
        return Member(bare(tree.item), tuple(map(bare, tree.choices)), 0, 0)
    if isinstance(tree, Call):
        return replace(tree, name=replace(tree.name, offset=0, width=0), offset=0, width=0)
    return applied(tree.operator, *map(bare, tree.arguments))


def inside(tree: Tree) -> list[Tree]:
    """The tree and everything in it."""
    if isinstance(tree, Number):
        return [tree]
    if isinstance(tree, Name):
        return [tree, *(inside(tree.index) if tree.index is not None else [])]
    if isinstance(tree, Call):
        return [tree, tree.name]
    parts = (tree.item, *tree.choices) if isinstance(tree, Member) else tree.arguments
    return [tree, *(part for argument in parts for part in inside(argument))]


@MANY
@given(tree=TREES)
def test_what_is_printed_is_parsed_back(tree: Tree) -> None:
    """Printing a tree with as few brackets as possible, and parsing it, gives the same tree."""
    assert bare(parse_condition(printed(tree))) == tree


@MANY
@given(tree=TREES, spaces=st.sampled_from(["", " ", "  \t"]))
def test_brackets_and_spaces_mean_nothing(tree: Tree, spaces: str) -> None:
    """Any tree may stand in brackets, with spaces around."""
    text = f"{spaces}({spaces}{printed(tree)}{spaces}){spaces}"
    assert bare(parse_condition(text)) == tree


@MANY
@given(tree=TREES)
def test_every_part_knows_where_it_stands(tree: Tree) -> None:
    """The text at a part's offset, as wide as it says, is that part."""
    text = printed(tree)
    for part in inside(parse_condition(text)):
        assert bare(parse_condition(text[part.offset : part.offset + part.width])) == bare(part)


TOKENS = st.sampled_from(
    [
        *sorted(KEYWORDS), *COMPARISONS, *"+-()[],.=!*7#'{ ", '"', "+=", "&&", "||", "hub", "min",
        "99999999999", "²", "é", "\u00a0", "not in", "::",
    ]
)  # fmt: skip


def error_in(text: str, parser: Callable[[str], object]) -> ExpressionError | None:
    """What the parser has against the text, if anything."""
    try:
        parser(text)
    except ExpressionError as error:
        return error
    return None


@MANY
@given(text=st.lists(TOKENS, max_size=12).map(" ".join) | st.text(max_size=20))
@pytest.mark.parametrize("parser", [parse_condition, parse_assignment, parse_send])
def test_any_text_is_parsed_or_refused(text: str, parser: Callable[[str], object]) -> None:
    """Nothing but a tree or an error within the text comes out, whatever goes in."""
    error = error_in(text, parser)
    if error is not None:
        assert 0 <= error.offset <= len(text)
        assert error.width >= 1
        assert error.message


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("a or b and c", "a or (b and c)"),
        ("not a and b", "(not a) and b"),
        ("not a == b", "not (a == b)"),
        ("not not a", "a"),
        ("a - b - c", "(a - b) - c"),
        ("a - b + c", "(a - b) + c"),
        ("-a - -b", "(-a) - (-b)"),
        ("--a", "a"),
        ("- 3", "-3"),
        ("a < b < c", "a < b and b < c"),
        ("a not in [1, 2]", "not a in [1, 2]"),
        ("a if b else c if d else e", "a if b else (c if d else e)"),
        ("a or b if c or d else e", "(a or b) if (c or d) else e"),
        ("min(a, b) + 1 == x[i + 1]", "(min(a, b) + 1) == (x[(i + 1)])"),
        ("007", "7"),
    ],
)
def test_precedence_is_that_of_the_grammar(text: str, same: str) -> None:
    """Brackets that change nothing may be left out."""
    assert bare(parse_condition(text)) == bare(parse_condition(same))


@pytest.mark.parametrize(
    ("text", "offset", "message", "expected"),
    [
        ("", 0, "is incomplete", "a name, a number"),
        ("a ==", 4, "is incomplete", "a name, a number"),
        ("(a == 1", 7, "is incomplete", "')'"),
        ("a = 1", 2, "'=' assigns; it does not compare", "'=='"),
        ("a && b", 2, "'&&' is not an operator here", "and"),
        ("a || b", 2, "'||' is not an operator here", "or"),
        ("!a", 0, "'!' is not an operator here", "not"),
        ("a b", 2, "unexpected 'b'", "an operator or the end"),
        ("a 2", 2, "unexpected '2'", "an operator or the end"),
        ("a in 1", 5, "unexpected '1'", "'['"),
        ("a in []", 6, "unexpected ']'", "a name, a number"),
        ("a in [1", 7, "is incomplete", "',' or ']'"),
        ("min()", 4, "unexpected ')'", "a name, a number"),
        ("a if b", 6, "is incomplete", "'else'"),
        ("a.", 2, "is incomplete", "a name after '.'"),
        ("a.1", 2, "unexpected '1'", "a name after '.'"),
        ("in", 0, "unexpected 'in'", "a name, a number"),
        ("a == 'x'", 5, '"\'" is not allowed here', "a name or a number"),
        ("a == 2147483648", 5, "the number is too large", "2147483647"),
        ("٣ == 3", 0, "unexpected '٣'", "a name, a number"),
    ],
)
def test_errors_stand_where_they_are(text: str, offset: int, message: str, expected: str) -> None:
    """The first character that does not fit is named, and what would fit."""
    with pytest.raises(ExpressionError) as caught:
        parse_condition(text)
    assert caught.value.offset == offset
    assert message in caught.value.message
    assert expected in caught.value.expected


@pytest.mark.parametrize(
    ("text", "offset", "message"),
    [
        ("a", 1, "no value is assigned"),
        ("a == 1", 2, "unexpected '=='"),
        ("a, b = 1", 0, "2 variables, but 1 values"),
        ("a = 1, 2", 0, "1 variables, but 2 values"),
        ("1 = a", 0, "unexpected '1'"),
        ("a + 1 = b", 2, "unexpected '+'"),
        ("a, b += 1", 5, "unexpected '+='"),
        ("a = b = c", 6, "'=' assigns; it does not compare"),
    ],
)
def test_assignments_that_are_none_are_refused(text: str, offset: int, message: str) -> None:
    """As many values as variables, and one equals sign."""
    with pytest.raises(ExpressionError) as caught:
        parse_assignment(text)
    assert (caught.value.offset, caught.value.message) == (offset, message)


def test_assignments_take_values_together() -> None:
    """`a, b = b, a` has two targets and two values; `x += 1` is x = x + 1."""
    swap = parse_assignment("a, b[1] = b, a")
    assert [name.text for name in swap.targets] == ["a", "b"]
    assert [bare(value) for value in swap.values] == [bare(parse_condition(v)) for v in "ba"]
    more, less = parse_assignment("x += 1 + y"), parse_assignment("x -= y")
    assert bare(more.values[0]) == bare(parse_condition("x + (1 + y)"))
    assert bare(less.values[0]) == bare(parse_condition("x - y"))


@pytest.mark.parametrize(
    ("text", "message", "value", "link"),
    [
        ("hello", "hello", None, None),
        ("hello via up", "hello", None, "up"),
        ("keys(a + 1)", "keys", "a + 1", None),
        ("keys(a) via up", "keys", "a", "up"),
    ],
)
def test_sends_name_message_value_and_link(
    text: str, message: str, value: str | None, link: str | None
) -> None:
    """All but the message may be left out."""
    sent = parse_send(text)
    assert sent.message.text == message
    assert (sent.link.text if sent.link else None) == link
    assert (bare(sent.value) if sent.value else None) == (
        bare(parse_condition(value)) if value else None
    )


@pytest.mark.parametrize("text", ["hello via", "via up", "hello(", "hello()", "hello via up to"])
def test_sends_that_are_none_are_refused(text: str) -> None:
    """A value stands in brackets, a link behind via."""
    with pytest.raises(ExpressionError):
        parse_send(text)


@pytest.mark.parametrize(
    ("most", "too_much"),
    [
        ("(" * (DEEPEST - 1) + "a" + ")" * (DEEPEST - 1), "(" * DEEPEST + "a" + ")" * DEEPEST),
        ("+".join("a" * LONGEST_SUM), "+".join("a" * (LONGEST_SUM + 1))),
        ("a".ljust(LONGEST), "a".ljust(LONGEST + 1)),
        ("not " * 499 + "a", "not " * 500 + "a"),
    ],
)
def test_expressions_are_bounded(most: str, too_much: str) -> None:
    """The largest expression is read, and a larger one refused, before recursion runs out."""
    parse_condition(most)
    with pytest.raises(ExpressionError):
        parse_condition(too_much)
