"""Names of chips and links of which there are copies: which one a name in an expression means."""

from __future__ import annotations

from dataclasses import replace

from modecheck.model.copies import OWN_NUMBER, copy_number, known_value, numbered, unnumbered
from modecheck.model.scopes import DECIMAL, MeaningError, Scope, error_at
from modecheck.model.syntax import OVER_ALL, Call, Name, Number, Tree


def filled_in(tree: Tree, scope: Scope) -> Tree:
    """The tree with parameters replaced by their values, and a copy named as a whole."""
    if not isinstance(tree, Name):
        return tree
    if tree.copy is not None or _is_numbered(tree, scope):
        return _copy(tree, scope)
    if tree.parts[0] not in scope.parameters:
        return _own_link(tree, scope) if is_any(tree, scope) else tree
    text = scope.parameters[tree.parts[0]]
    if DECIMAL.fullmatch(text) and len(tree.parts) == 1:
        return Number(int(text), tree.offset, tree.width)
    return replace(tree, parts=(*text.split("."), *tree.parts[1:]))


def _own_link(tree: Name, scope: Scope) -> Name:
    """`up.press` where each copy has a link `up`: that of the copy itself."""
    name = tree.parts[0]
    if name not in scope.copies.links or OWN_NUMBER not in scope.parameters:
        raise of_several(tree, scope)
    number = (int(scope.parameters[OWN_NUMBER]) - 1) % scope.copies.counts[name] + 1
    return replace(tree, parts=(numbered(name, number), *tree.parts[1:]))


def of_several(tree: Name, scope: Scope) -> MeaningError:
    """The error of a name that stands for several where one is needed."""
    message = f"{tree.parts[0]!r} stands for {scope.copies.told(tree.parts[0])}"
    expected = f"one of them, or {', '.join(f'{word}(…)' for word in OVER_ALL)}"
    return error_at(tree, message, expected=expected)


def _is_numbered(tree: Name, scope: Scope) -> bool:
    """Whether it is the name of a copy and nothing more, as in `tile[2]`."""
    name, own = tree.parts[0], scope.own
    is_variable = own is not None and name in own.variables
    return (
        tree.index is not None
        and len(tree.parts) == 1
        and name in scope.copies.counts
        and not is_variable
    )


def _copy(tree: Name, scope: Scope) -> Name:
    """`tile[i+1].state` with its number computed."""
    name, index = tree.parts[0], tree.copy or tree.index
    assert index is not None
    count = scope.copies.counts.get(name)
    if count is None:
        known = name in scope.chips
        message = f"{name!r} has no copies" if known else f"unknown chip {name!r}"
        expected = tree.text if known else ""
        choices = () if known else [*scope.copies.units, *scope.chips]
        raise error_at(tree, message, expected=expected, word=name, choices=choices)
    number = copy_number(index, name, count, scope.parameters)
    parts = (numbered(name, number), *tree.parts[1:])
    return replace(tree, parts=parts, copy=None, index=tree.index if tree.copy else None)


def is_any(tree: Name, scope: Scope) -> bool:
    """Whether it names a chip or link with copies, but not which one."""
    name = tree.parts[0]
    if tree.copy is not None or len(tree.parts) < 2:
        return False
    shadowed = unnumbered(scope.parameters.get(name, name)) != name
    return name in scope.copies.counts and not shadowed


def event_name(call: Call, scope: Scope) -> Name:
    """The name in a call, with the numbers of copies computed; a signal may have one, too."""
    name = call.name
    if call.word == "signalled" and name.index is not None and len(name.parts) == 1:
        count = scope.copies.own
        number = (
            copy_number(name.index, name.text, count, scope.parameters)
            if count
            else known_value(name.index, scope.parameters)
        )
        return replace(name, parts=(numbered(name.text, number),), index=None)
    filled = filled_in(name, scope)
    assert isinstance(filled, Name)
    if filled.index is not None:
        raise error_at(name, f"{call.word}(…) of an item of a list", expected="no brackets")
    return filled
