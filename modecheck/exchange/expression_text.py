"""Expressions as text of the model language, with as few brackets as it needs."""

from __future__ import annotations

from modecheck.model.syntax import Apply, Call, Member, Name, Number, Tree

CHOICE, OR, AND, NOT, COMPARED, SUM, PRODUCT, SIGN, ATOM = range(9)
LEVELS = {
    "if": CHOICE,
    "or": OR,
    "and": AND,
    "not": NOT,
    **dict.fromkeys(("==", "!=", "<", "<=", ">", ">="), COMPARED),
    **dict.fromkeys(("+", "-"), SUM),
    **dict.fromkeys(("*", "//", "%"), PRODUCT),
    "neg": SIGN,
}
"""How tightly the operators bind; any other is written as a function."""


def expression_text(tree: Tree) -> str:
    """The text, which `modecheck.model.syntax` reads as an equal tree."""
    return _written(tree, CHOICE)


def _written(tree: Tree, level: int) -> str:
    match tree:
        case Number(value):
            return str(value) if value >= 0 or level <= SIGN else f"({value})"
        case Name():
            return _name(tree)
        case Member(item, choices):
            listed = ", ".join(_written(one, CHOICE) for one in choices)
            text = f"{_written(item, SUM)} in [{listed}]"
            return f"({text})" if level > COMPARED else text
        case Call(word, name):
            return f"{word}({name.text})"
        case Apply(operator, arguments):
            own = LEVELS.get(operator, ATOM)
            text = _applied(operator, arguments, own)
            return f"({text})" if own < level else text
    raise AssertionError(tree)


def _name(name: Name) -> str:
    copy = "" if name.copy is None else f"[{_written(name.copy, CHOICE)}]"
    index = "" if name.index is None else f"[{_written(name.index, CHOICE)}]"
    return ".".join([name.parts[0] + copy, *name.parts[1:]]) + index


def _applied(operator: str, arguments: tuple[Tree, ...], own: int) -> str:
    if own == ATOM:
        return f"{operator}({', '.join(_written(one, CHOICE) for one in arguments)})"
    if operator == "if":
        test, yes, no = arguments
        return f"{_written(yes, OR)} if {_written(test, OR)} else {_written(no, CHOICE)}"
    if operator == "not":
        return f"not {_written(arguments[0], COMPARED)}"
    if operator == "neg":
        return f"-{_written(arguments[0], ATOM)}"
    # Comparisons do not chain here; sums and products nest to the left.
    first = _written(arguments[0], own if own != COMPARED else SUM)
    rest = (_written(one, own + 1) for one in arguments[1:])
    return f" {operator} ".join([first, *rest])
