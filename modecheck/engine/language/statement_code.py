"""Statements of a kernel in LLVM's assembly, and the function that they make."""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from modecheck.engine.language import arithmetic
from modecheck.engine.language import assembly as ir
from modecheck.engine.language.expression_code import ExpressionCode
from modecheck.engine.language.kinds import I64, NOTHING, GroupKind, Kind
from modecheck.engine.language.operands import (
    Bundle,
    Element,
    NotInLanguage,
    Operand,
    Scalar,
    View,
    argument,
    constant,
    literal,
    numbers_in,
    passed_types,
    result_type,
    scalar,
)

if TYPE_CHECKING:
    from modecheck.engine.language.program import Program

TARGETS = "only names, elements and parts of arrays, and tuples of them can be assigned to"


class WiderKind(Exception):
    """A name, or the result, has to be of a wider kind than it was taken for."""


@dataclass(slots=True)
class _Loop:
    """Where `continue` leads to, where the loop has come to its end, and where `break` leads to."""

    again: ir.BasicBlock
    done: ir.BasicBlock
    behind: ir.BasicBlock
    is_left: bool = False


@dataclass(frozen=True, slots=True)
class _Count:
    """A loop that counts: where it is checked how far it is, where the count stands, what it is."""

    loop: _Loop
    check: ir.BasicBlock
    counter: ir.Value
    number: Scalar
    step: int


class StatementCode(ExpressionCode):
    """Writes one function for arguments of some kinds."""

    def __init__(
        self, program: Program, function: Callable[..., Any], kinds: tuple[Kind, ...], name: str
    ) -> None:
        self._arguments = kinds
        self._name = name
        self._result: Kind | None = None
        self._definition = _definition(function)
        super().__init__(program, function)

    def written(self) -> Kind:
        """Write the function, again from its beginning as long as a name turns out wider; the kind
        of its result.
        """
        functions = self.program.module.functions
        while True:
            # The attempt before is dropped; what it called stays, as it does not depend on it.
            functions.remove(self.function)
            parameters = tuple([type_ for kind in self._arguments for type_ in passed_types(kind)])
            self.begin(self._name, parameters, NOTHING if self._result is None else self._result)
            try:
                return self._attempt()
            except WiderKind:
                continue

    def _attempt(self) -> Kind:
        self._loops: list[_Loop] = []
        self._is_left = False
        begin, given = self.code.block, iter(self.function.args)
        names = [one.arg for one in self._definition.args.args]
        if len(names) != len(self._arguments):
            raise self.refused(self._definition, f"it takes {len(names)} arguments")
        for name, kind in zip(names, self._arguments, strict=True):
            self._assign_name(name, argument(kind, given))
        self._block(self._definition.body)
        if not self._is_left:
            self._leave_at_the_end()
        elif not self.code.block.is_terminated:
            self.code.end("unreachable")
        with self.code.goto_block(self.entry):
            self.code.branch(begin)
        assert self._result is not None
        return self._result

    def _leave_at_the_end(self) -> None:
        if self._result not in (None, NOTHING):
            raise self.refused(self._definition, "it does not return a value everywhere")
        self._result = NOTHING
        self.code.end("ret void")

    def _block(self, statements: Sequence[ast.stmt]) -> None:
        for statement in statements:
            if self._is_left:
                return
            try:
                self._statement(statement)
            except NotInLanguage as trouble:
                raise self.refused(statement, str(trouble)) from None

    def _statement(self, node: ast.stmt) -> None:  # noqa: C901 - one line a construct
        match node:
            case ast.Assign(targets, value):
                given = self.expression(value)
                for target in targets:
                    self._assign(target, given)
            case ast.AnnAssign(target, _, value) if value is not None:
                self._assign(target, self.expression(value))
            case ast.AugAssign():
                self._augment(node)
            case ast.If():
                self._if(node)
            case ast.While():
                self._while(node)
            case ast.For():
                self._for(node)
            case ast.Return(value):
                self._return(Bundle(NOTHING, ()) if value is None else self.expression(value))
            case ast.Break() | ast.Continue():
                self._jump(leaves=isinstance(node, ast.Break))
            case ast.Expr(ast.Constant()) | ast.Pass():
                pass
            case ast.Expr(ast.Call() as call):
                self.expression(call)
            case _:
                raise NotInLanguage(f"{type(node).__name__} is not in the language of kernels")

    # Assignments

    def _assign(self, target: ast.expr, given: Operand) -> None:
        if isinstance(target, ast.Name):
            self._assign_name(target.id, given)
        elif isinstance(target, ast.Tuple):
            parts = self._parts(given, len(target.elts))
            for one, part in zip(target.elts, parts, strict=True):
                self._assign(one, part)
        elif isinstance(target, ast.Subscript):
            place = self.item(target)
            if isinstance(place, Element):
                self._store(place, given)
            else:
                self._fill(place, given)
        else:
            raise NotInLanguage(TARGETS)

    def _parts(self, given: Operand, count: int) -> Sequence[Operand]:
        """The items of a tuple, or the rows of an array."""
        if isinstance(given, View) and given.kind.dimensions > 1:
            return [self.row(given, literal(number)) for number in range(count)]
        if not isinstance(given, Bundle) or len(given.items) != count:
            raise NotInLanguage(f"{given.kind} has not {count} parts")
        return given.items

    def _assign_name(self, name: str, given: Operand) -> None:
        kind = self.kinds.setdefault(name, given.kind)
        wider = arithmetic.joined_with(kind, given)
        if wider is None:
            raise NotInLanguage(f"{name} is {kind} elsewhere, and {given.kind} here")
        if wider != kind:
            self.kinds[name] = wider
            raise WiderKind
        if name not in self.places:
            self.places[name] = self.room(kind)
        self.put(self.places[name], self.changed(given, kind))

    def _store(self, place: Element, given: Operand) -> None:
        value = arithmetic.changed(self.code, scalar(given), place.kind, cut=True).value
        stored = self.code.converted(value, place.kind.stored, signed=False)
        self.code.store(stored, place.pointer)

    def _fill(self, array: Operand, given: Operand) -> None:
        """All elements of a row or part become a number, or what stands there in another one."""
        if not isinstance(array, View) or array.kind.dimensions != 1:
            raise NotInLanguage(TARGETS)
        with self._counted(literal(0), Scalar(I64, array.sizes[0])) as number:
            one = self.loaded(self.element(given, number)) if isinstance(given, View) else given
            self._store(self.element(array, number), one)

    def _augment(self, node: ast.AugAssign) -> None:
        more = self.expression(node.value)
        if isinstance(node.target, ast.Name):
            before = self.expression(node.target)
            self._assign(node.target, arithmetic.binary(self.code, node.op, before, more))
            return
        place = self.item(node.target) if isinstance(node.target, ast.Subscript) else None
        if not isinstance(place, Element):
            raise NotInLanguage("only a name and an element of an array can be changed")
        self._store(place, arithmetic.binary(self.code, node.op, self.loaded(place), more))

    # Where to go on

    def _go_to(self, block: ir.BasicBlock) -> None:
        """Go on in a block, unless this one was left already."""
        if not self.code.block.is_terminated:
            self.code.branch(block)

    def _if(self, node: ast.If) -> None:
        yes, no, behind = self.blocks("yes", "no", "behind")
        self.code.cbranch(self.truth(node.test), yes, no)
        left = []
        for block, statements in ((yes, node.body), (no, node.orelse)):
            self._into(block, statements)
            left.append(self._is_left)
            self._go_to(behind)
        self.code.position_at_end(behind)
        self._is_left = all(left)

    def _into(self, block: ir.BasicBlock, statements: Sequence[ast.stmt]) -> None:
        self.code.position_at_end(block)
        self._is_left = False
        self._block(statements)

    def _while(self, node: ast.While) -> None:
        again, inside, done, behind = self.blocks("again", "inside", "done", "behind")
        self._go_to(again)
        self.code.position_at_end(again)
        self.code.cbranch(self.truth(node.test), inside, done)
        self.code.position_at_end(inside)
        loop = _Loop(again, done, behind)
        self._repeated(loop, node.body)
        for_ever = isinstance(node.test, ast.Constant) and node.test.value is True
        self._leave(loop, node.orelse, for_ever=for_ever)

    def _repeated(self, loop: _Loop, statements: Sequence[ast.stmt]) -> None:
        self._loops.append(loop)
        self._is_left = False
        self._block(statements)
        self._loops.pop()
        self._go_to(loop.again)

    def _leave(self, loop: _Loop, statements: Sequence[ast.stmt], *, for_ever: bool) -> None:
        """What comes when a loop has run to its end (`else`), and where `break` leads to."""
        self._into(loop.done, statements)
        self._is_left = (self._is_left or for_ever) and not loop.is_left
        self._go_to(loop.behind)
        self.code.position_at_end(loop.behind)

    def _jump(self, *, leaves: bool) -> None:
        loop = self._loops[-1]
        loop.is_left = loop.is_left or leaves
        self.code.branch(loop.behind if leaves else loop.again)
        self._is_left = True

    def _for(self, node: ast.For) -> None:
        begin, end, step, array = self._gone_through(node.iter)
        count = self._counting(begin, end, step)
        each = count.number
        if array is not None:
            each = self.loaded(self.element(array, each))
        self._assign(node.target, each)
        self._repeated(count.loop, node.body)
        self._count_on(count)
        self._leave(count.loop, node.orelse, for_ever=False)

    def _gone_through(self, node: ast.expr) -> tuple[Scalar, Scalar, int, View | None]:
        """From where, up to what, by which steps; and of which array, if of one."""
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id == "range"
        ):
            begin, end, step = self._range([scalar(self.expression(one)) for one in node.args])
            return begin, end, step, None
        array = self.expression(node)
        if not isinstance(array, View) or array.kind.dimensions != 1:
            raise NotInLanguage("a loop goes through a range or an array of one dimension")
        return literal(0), Scalar(I64, array.sizes[0]), 1, array

    def _range(self, given: list[Scalar]) -> tuple[Scalar, Scalar, int]:
        match given:
            case [end]:
                return literal(0), end, 1
            case [begin, end]:
                return begin, end, 1
            case [begin, end, Scalar(_, _, int(step))] if step:
                return begin, end, step
        raise NotInLanguage("the step of a range is a number in the text other than 0")

    def _counting(self, begin: Scalar, end: Scalar, step: int) -> _Count:
        """Begin a loop that counts, and go on inside."""
        check, inside = self.blocks("check", "inside")
        again, done, behind = self.blocks("again", "done", "behind")
        loop = _Loop(again, done, behind)
        kind = arithmetic.joined(begin, end)
        counter = self.room(kind)
        self.code.store(arithmetic.changed(self.code, begin, kind).value, counter)
        last = arithmetic.changed(self.code, end, kind)
        self._go_to(check)
        self.code.position_at_end(check)
        number = Scalar(kind, self.code.load(counter))
        goes_on = arithmetic.compared(self.code, ast.Lt() if step > 0 else ast.Gt(), number, last)
        self.code.cbranch(goes_on.value, inside, loop.done)
        self.code.position_at_end(inside)
        return _Count(loop, check, counter, number, step)

    def _count_on(self, count: _Count) -> None:
        self.code.position_at_end(count.loop.again)
        step = constant(count.number.kind, count.step)
        more = self.code.of_two("add", self.code.load(count.counter), step)
        self.code.store(more, count.counter)
        self.code.branch(count.check)

    @contextmanager
    def _counted(self, begin: Scalar, end: Scalar) -> Iterator[Scalar]:
        """A loop around what is written inside `with`."""
        count = self._counting(begin, end, 1)
        yield count.number
        self._go_to(count.loop.again)
        self._count_on(count)
        self._leave(count.loop, (), for_ever=False)

    def _return(self, given: Operand) -> None:
        kind = given.kind if self._result is None else arithmetic.joined_with(self._result, given)
        if kind is None:
            raise NotInLanguage(f"{self._result} is returned elsewhere, and {given.kind} here")
        numbers_in(kind)
        if kind != self._result:
            self._result = kind
            raise WiderKind
        value = self.changed(given, kind)
        if isinstance(kind, GroupKind):
            self._return_several(kind, value)
        else:
            self.code.ret(value.value)
        self._is_left = True

    def _return_several(self, kind: GroupKind, given: Bundle) -> None:
        type_ = result_type(kind)
        whole = ir.Value(type_, "poison")
        for place, item in enumerate(given.items):
            whole = self.code.inserted(whole, scalar(item).value, place)
        self.code.end(f"ret {type_.text} {whole.name}" if given.items else "ret void")


def _definition(function: Callable[..., Any]) -> ast.FunctionDef:
    """The text of a function, with the lines of its file."""
    lines, first = inspect.getsourcelines(function)
    tree = ast.parse(textwrap.dedent("".join(lines)))
    ast.increment_lineno(tree, first - 1)
    definition = tree.body[0]
    assert isinstance(definition, ast.FunctionDef)
    return definition
