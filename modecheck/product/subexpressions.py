"""What stands in an expression: its parts, the fields that it reads, whether it can fail; and the
fields that are written.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import permutations

from modecheck.product.expression_ir import ApplyIR, Expression, Read, ReadItem
from modecheck.product.ir import Assign, TargetIR


def subexpressions(expression: Expression) -> Iterator[Expression]:
    """An expression and all that stands in it."""
    yield expression
    if isinstance(expression, ReadItem):
        yield from subexpressions(expression.index)
    elif isinstance(expression, ApplyIR):
        for argument in expression.arguments:
            yield from subexpressions(argument)


def fields_read(expression: Expression | None) -> set[int]:
    """Every field that an expression may read."""
    found: set[int] = set()
    for part in () if expression is None else subexpressions(expression):
        if isinstance(part, Read):
            found.add(part.field)
        elif isinstance(part, ReadItem):
            found |= set(range(part.first, part.first + part.length))
    return found


def fields_written(target: TargetIR) -> range:
    """The fields of which an assignment may write one."""
    return range(target.first, target.first + (1 if target.index is None else target.length))


def can_fail(expression: Expression) -> bool:
    """Whether an index in the expression can be out of range."""
    return any(isinstance(part, ReadItem) for part in subexpressions(expression))


def apart(assigns: Sequence[Assign]) -> bool:
    """Whether no assignment writes what another one reads or writes."""
    touched = [_reads_and_writes(assign) for assign in assigns]
    pairs = permutations(touched, 2)
    return not any(writes & (reads | written) for (_, writes), (reads, written) in pairs)


def _reads_and_writes(assign: Assign) -> tuple[set[int], set[int]]:
    reads = {field for value in assign.values for field in fields_read(value)}
    for target in assign.targets:
        reads |= fields_read(target.index)
    return reads, {field for target in assign.targets for field in fields_written(target)}
