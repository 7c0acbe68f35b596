"""Expressions of a kernel in LLVM's assembly."""

from __future__ import annotations

import ast
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from modecheck.engine.language import arithmetic
from modecheck.engine.language import assembly as ir
from modecheck.engine.language.annotations import declared_kinds
from modecheck.engine.language.intrinsics import Intrinsic
from modecheck.engine.language.kinds import (
    BOOL,
    BYTE,
    I64,
    NOTHING,
    Array,
    GroupKind,
    Kind,
    NumberKind,
    number_kind,
)
from modecheck.engine.language.operands import (
    WORD,
    Bundle,
    Element,
    KernelError,
    NotInLanguage,
    Operand,
    Scalar,
    View,
    constant,
    literal,
    passed,
    result_type,
    returned,
    scalar,
    view,
)

if TYPE_CHECKING:
    from modecheck.engine.language.program import Program

CALLABLE = "only kernels, intrinsics, min, max, len and NumPy's types can be called"


class ExpressionCode:
    """Writes expressions of one function. Names have places on the stack, which LLVM turns into
    registers; their kinds are known before they are read.
    """

    def __init__(self, program: Program, function: Callable[..., Any]) -> None:
        self.program = program
        self.python = function
        self.globals = function.__globals__
        self.kinds: dict[str, Kind] = {}
        self.begin("void", ())

    def begin(self, name: str, parameters: tuple[ir.Type, ...], result: Kind = NOTHING) -> None:
        """Begin to write the function, or begin it anew."""
        self.places: dict[str, Any] = {}
        self.function = ir.Function(self.program.module, name, result_type(result), parameters)
        self.function.is_internal = True
        self.entry = self.function.append_basic_block("entry")
        self.code = ir.Builder(self.function, self.function.append_basic_block("begin"))

    def blocks(self, *names: str) -> list[ir.BasicBlock]:
        """New blocks."""
        return [self.function.append_basic_block(name) for name in names]

    def room(self, kind: Kind) -> Any:
        """A place on the stack for a value of a kind."""
        if isinstance(kind, GroupKind):
            return [self.room(item) for item in kind.items]
        with self.code.goto_block(self.entry):
            if isinstance(kind, NumberKind):
                return self.code.alloca(kind.type)
            pointer = self.code.alloca(kind.element.stored.as_pointer())
            return (pointer, *[self.code.alloca(WORD) for _ in range(kind.dimensions)])

    def put(self, room: Any, given: Operand) -> None:
        """Write a value to a place on the stack."""
        if isinstance(given, Scalar):
            self.code.store(given.value, room)
        elif isinstance(given, View):
            for place, value in zip(room, (given.pointer, *given.sizes), strict=True):
                self.code.store(value, place)
        else:
            for place, item in zip(room, given.items, strict=True):
                self.put(place, item)

    def got(self, room: Any, kind: Kind) -> Operand:
        """Read a value from a place on the stack."""
        if isinstance(kind, NumberKind):
            return Scalar(kind, self.code.load(room))
        if isinstance(kind, Array):
            pointer, *sizes = [self.code.load(place) for place in room]
            return View(kind, pointer, tuple(sizes))
        items = zip(room, kind.items, strict=True)
        return Bundle(kind, tuple([self.got(place, item) for place, item in items]))

    def changed(self, given: Operand, kind: Kind, *, cut: bool = False) -> Any:
        """A value as one of another kind, item by item."""
        if isinstance(given, Bundle) and isinstance(kind, GroupKind):
            pairs = zip(given.items, kind.items, strict=True)
            return Bundle(kind, tuple([self.changed(item, one, cut=cut) for item, one in pairs]))
        if isinstance(given, Scalar) and isinstance(kind, NumberKind):
            return arithmetic.changed(self.code, given, kind, cut=cut)
        return given

    def refused(self, node: ast.AST, message: str) -> KernelError:
        """An error at a place of the function."""
        where = self.python.__code__
        line = getattr(node, "lineno", where.co_firstlineno)
        return KernelError(where.co_filename, line, f"{self.python.__name__}: {message}")

    def expression(self, node: ast.expr) -> Operand:
        """What an expression gives. Raises `KernelError` for what is not in the language."""
        try:
            return self._expression(node)
        except NotInLanguage as trouble:
            raise self.refused(node, str(trouble)) from None

    def _expression(self, node: ast.expr) -> Operand:  # noqa: C901 - one line a construct
        match node:
            case ast.Constant(value):
                return self._known(value)
            case ast.Name(name):
                return self._named(name)
            case ast.BinOp(left, op, right):
                one, two = self.expression(left), self.expression(right)
                return arithmetic.binary(self.code, op, one, two)
            case ast.UnaryOp(op, operand):
                return arithmetic.unary(self.code, op, self.expression(operand))
            case ast.BoolOp():
                return self._short(node)
            case ast.Compare():
                return self._comparison(node)
            case ast.IfExp():
                return self._choice(node)
            case ast.Call():
                return self._call(node)
            case ast.Attribute():
                return self._attribute(node)
            case ast.Subscript():
                found = self.item(node)
                return self.loaded(found) if isinstance(found, Element) else found
            case ast.Tuple(elements):
                return self._bundle(tuple([self.expression(one) for one in elements]))
        raise NotInLanguage(f"{type(node).__name__} is not in the language of kernels")

    def _bundle(self, items: tuple[Operand, ...]) -> Bundle:
        return Bundle(GroupKind(tuple([item.kind for item in items])), items)

    def _known(self, value: Any) -> Operand:
        """A constant."""
        if isinstance(value, bool | np.bool_):
            return Scalar(BOOL, constant(BOOL, int(value)))
        if isinstance(value, int):
            return literal(value)
        if isinstance(value, np.integer):
            kind = number_kind(value.dtype)
            return Scalar(kind, constant(kind, int(value)))
        raise NotInLanguage(f"a constant must be an integer, not {type(value).__name__}")

    def _named(self, name: str) -> Operand:
        if name in self.places:
            return self.got(self.places[name], self.kinds[name])
        if name in self.globals and name not in self.kinds:
            return self._known(self.globals[name])
        raise NotInLanguage(f"{name} is read before anything is assigned to it")

    def truth(self, node: ast.expr) -> ir.Value:
        """Whether an expression holds."""
        return arithmetic.truth(self.code, self.expression(node))

    def _short(self, node: ast.BoolOp) -> Scalar:
        """Whether all hold, or one does; no further one is looked at than is needed."""
        room = self.room(BOOL)
        (behind,) = self.blocks("behind")
        for number, value in enumerate(node.values):
            holds = self.truth(value)
            self.code.store(holds, room)
            if number + 1 < len(node.values):
                (further,) = self.blocks("further")
                yes, no = (further, behind) if isinstance(node.op, ast.And) else (behind, further)
                self.code.cbranch(holds, yes, no)
                self.code.position_at_end(further)
        self.code.branch(behind)
        self.code.position_at_end(behind)
        return Scalar(BOOL, self.code.load(room))

    def _comparison(self, node: ast.Compare) -> Scalar:
        left = scalar(self.expression(node.left))
        result = None
        for op, comparator in zip(node.ops, node.comparators, strict=True):
            right = scalar(self.expression(comparator))
            holds = arithmetic.compared(self.code, op, left, right).value
            result = holds if result is None else self.code.of_two("and", result, holds)
            left = right
        assert result is not None
        return Scalar(BOOL, result)

    def _choice(self, node: ast.IfExp) -> Operand:
        """One of two values; only the one that is wanted is computed."""
        yes, no, behind = self.blocks("yes", "no", "behind")
        self.code.cbranch(self.truth(node.test), yes, no)
        self.code.position_at_end(yes)
        one, end_of_one = self.expression(node.body), self.code.block
        self.code.position_at_end(no)
        two, end_of_two = self.expression(node.orelse), self.code.block
        kind = one.kind
        if isinstance(one, Scalar) and isinstance(two, Scalar):
            kind = arithmetic.joined(one, two)
        elif one.kind != two.kind:
            raise NotInLanguage(f"this is {one.kind} or {two.kind}")
        room = self.room(kind)
        for block, given in ((end_of_one, one), (end_of_two, two)):
            self.code.position_at_end(block)
            self.put(room, self.changed(given, kind))
            self.code.branch(behind)
        self.code.position_at_end(behind)
        return self.got(room, kind)

    # Arrays and tuples

    def _attribute(self, node: ast.Attribute) -> Operand:
        if isinstance(node.value, ast.Attribute) and node.value.attr == "ctypes":
            array = view(self.expression(node.value.value))
            if node.attr == "data":
                text = f"ptrtoint {array.pointer.type.text} {array.pointer.name} to i64"
                return Scalar(I64, self.code.made(WORD, text))
        else:
            given = self.expression(node.value)
            if isinstance(given, Bundle) and node.attr in given.kind.names:
                return given.items[given.kind.names.index(node.attr)]
            if isinstance(given, View) and node.attr == "size":
                return Scalar(I64, self._size(given))
            if isinstance(given, View) and node.attr == "itemsize":
                return literal(max(given.kind.element.bits, BYTE) // BYTE)
            if isinstance(given, View) and node.attr == "shape":
                return self._bundle(tuple([Scalar(I64, size) for size in given.sizes]))
        raise NotInLanguage(f".{node.attr} is not in the language of kernels")

    def _size(self, array: View) -> ir.Value:
        size, *others = array.sizes
        for other in others:
            size = self.code.of_two("mul", size, other)
        return size

    def item(self, node: ast.Subscript) -> Element | Operand:
        """An element, a row, a part of an array; or an item of a tuple."""
        given = self.expression(node.value)
        if isinstance(given, Bundle):
            return self._item_of_tuple(given, node.slice)
        array = view(given)
        if isinstance(node.slice, ast.Slice):
            return self._part(array, node.slice)
        indices = node.slice.elts if isinstance(node.slice, ast.Tuple) else [node.slice]
        if len(indices) > array.kind.dimensions:
            raise NotInLanguage(f"this is an {array.kind}")
        for index in indices[:-1]:
            array = self.row(array, scalar(self.expression(index)))
        last = scalar(self.expression(indices[-1]))
        return self.row(array, last) if array.kind.dimensions > 1 else self.element(array, last)

    def _item_of_tuple(self, given: Bundle, index: ast.expr) -> Operand:
        number = scalar(self.expression(index)).literal
        if number is None or not -len(given.items) <= number < len(given.items):
            raise NotInLanguage("an item of a tuple is chosen by the number of one that is there")
        return given.items[number]

    def _part(self, array: View, bounds: ast.Slice) -> View:
        if array.kind.dimensions != 1 or bounds.step is not None:
            raise NotInLanguage("only arrays of one dimension have parts, and only without steps")
        begin, end = literal(0), Scalar(I64, array.sizes[0])
        if bounds.lower is not None:
            begin = scalar(self.expression(bounds.lower))
        if bounds.upper is not None:
            end = scalar(self.expression(bounds.upper))
        first = self._offset(array, begin)
        size = self.code.of_two("sub", self._offset(array, end), first)
        return View(array.kind, self.code.gep(array.pointer, [first]), (size,))

    def _offset(self, array: View, index: Scalar) -> ir.Value:
        """A number of elements or rows; a literal one may count from the end."""
        if index.literal is not None and index.literal < 0:
            return self.code.of_two("add", array.sizes[0], index.value)
        return self.code.converted(index.value, WORD, signed=index.kind.signed)

    def row(self, array: View, index: Scalar) -> View:
        """A row of an array, which has an index less."""
        offset = self._offset(array, index)
        for size in array.sizes[1:]:
            offset = self.code.of_two("mul", offset, size)
        kind = Array(array.kind.element, array.kind.dimensions - 1)
        return View(kind, self.code.gep(array.pointer, [offset]), array.sizes[1:])

    def element(self, array: View, index: Scalar) -> Element:
        """A place in an array of one dimension."""
        place = self.code.gep(array.pointer, [self._offset(array, index)])
        return Element(array.kind.element, place)

    def loaded(self, element: Element) -> Scalar:
        """What stands at a place."""
        stored = self.code.load(element.pointer)
        return Scalar(element.kind, self.code.converted(stored, element.kind.type, signed=False))

    # Calls

    def _call(self, node: ast.Call) -> Operand:
        if node.keywords or any(isinstance(one, ast.Starred) for one in node.args):
            raise NotInLanguage("arguments are given one by one, without names")
        arguments = [self.expression(one) for one in node.args]
        if isinstance(node.func, ast.Attribute):
            return self._conversion(node.func, arguments)
        if not isinstance(node.func, ast.Name):
            raise NotInLanguage(CALLABLE)
        known = self.globals.get(node.func.id)
        if isinstance(known, Intrinsic):
            return self._intrinsic(known, arguments)
        function = getattr(known, "function", None)
        if function is not None:
            return self._kernel(function, arguments)
        return self._builtin(node.func.id, arguments)

    def _builtin(self, name: str, arguments: list[Operand]) -> Operand:
        match name, arguments:
            case "min" | "max", [one, two]:
                return arithmetic.extreme(self.code, name, one, two)
            case "len", [Bundle(_, items)]:
                return literal(len(items))
            case "len", [View(_, _, sizes)]:
                return Scalar(I64, sizes[0])
        raise NotInLanguage(CALLABLE)

    def _conversion(self, function: ast.Attribute, arguments: list[Operand]) -> Scalar:
        """A number as another kind; what does not fit is cut off."""
        module = function.value
        if not isinstance(module, ast.Name) or self.globals.get(module.id) is not np:
            raise NotInLanguage(CALLABLE)
        try:
            kind = number_kind(getattr(np, function.attr))
        except (AttributeError, TypeError):
            raise NotInLanguage(f"np.{function.attr} is no integer") from None
        (given,) = arguments
        return arithmetic.changed(self.code, scalar(given), kind, cut=True)

    def _intrinsic(self, known: Intrinsic, arguments: list[Operand]) -> Operand:
        if len(arguments) != len(known.takes):
            raise NotInLanguage(f"{known.__name__} takes {len(known.takes)} arguments")
        self.program.intrinsics[known.__name__] = known
        given = [
            arithmetic.changed(self.code, scalar(one), kind).value
            for one, kind in zip(arguments, known.takes, strict=True)
        ]
        made = self.code.call_named(known.__name__, result_type(known.gives), given)
        return returned(self.code, known.gives, made)

    def _kernel(self, function: Callable[..., Any], arguments: list[Operand]) -> Operand:
        declared = declared_kinds(function)
        if len(declared) != len(arguments):
            raise NotInLanguage(f"{function.__name__} takes {len(declared)} arguments")
        taken = [
            given if kind is None else self._declared(given, kind)
            for given, kind in zip(arguments, declared, strict=True)
        ]
        called = self.program.translated(function, tuple([one.kind for one in taken]))
        given = [value for one in taken for value in passed(one)]
        return returned(self.code, called.result, self.code.call(called.function, given))

    def _declared(self, given: Operand, kind: Kind) -> Operand:
        """An argument as the kernel that is called wants it."""
        if arithmetic.joined_with(kind, given) != kind:
            raise NotInLanguage(f"{kind} is wanted, and {given.kind} is given")
        changed: Operand = self.changed(given, kind)
        return changed
