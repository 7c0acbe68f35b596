"""A product as machine code: written as LLVM IR, optimised, linked, kept on disk for next time."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import llvmlite.binding as llvm

from modecheck.engine.language import assembly as ir
from modecheck.engine.language import object_cache
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.language.linking import linked, target_machine
from modecheck.engine.language.native_kernel import InPlace
from modecheck.engine.native.condition_code import ConditionCode
from modecheck.engine.native.exploring_kernels import reached
from modecheck.engine.native.frame import FunctionFrame, NotCompilableError
from modecheck.engine.native.level_kernels import explore
from modecheck.engine.native.reached_code import ReachedFrame
from modecheck.engine.native.steps import StepCode
from modecheck.engine.reference.system_actions import obliging_labels
from modecheck.product.bit_packing import WordLayout, word_layout
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import EventIR, Product

if TYPE_CHECKING:
    from modecheck.engine.reductions.representatives import Representatives

OPTIMISATION = 1
"""Level of LLVM's pipeline; tests/benchmarks tells what each costs and brings."""
UNOPTIMISED = 0
"""The level for a product that is known to be small: its code is there in a third of the time, and
runs through so few states that nobody notices how slowly."""

BITS_OF_A_WORD = 64
MOST_CHIPS = 64
MOST_EVENTS = 31
MOST_WATCHED = 63
MOST_CONDITIONS = 63
"""What fits: a bit for each chip, each event reported or only watched, and each condition."""


@dataclass(frozen=True, slots=True)
class CompiledProduct:
    """A compiled product. The addresses stay valid as long as the machine lives; `in_place` is what
    kernels that explore call for its steps, where that is quicker than to ask for records.

    `starts` are the words of the states in which exploring begins.
    `seen` maps what a byte of the successor function's notes means to its number; `most_records` is
    the most records that one call can write.
    """

    product: Product
    layout: WordLayout
    successors: int
    marks: int
    failures: tuple[Failure, ...]
    seen: dict[tuple[Any, ...], int]
    most_records: int
    level: int
    keep: object
    starts: tuple[tuple[int, ...], ...]
    in_place: InPlace | None = None

    @property
    def explore(self) -> Kernel:
        """The kernel that explores it."""
        return _explorer(self.in_place)


def overheard(product: Product, events: tuple[EventIR, ...]) -> Product:
    """The product with more events, which steps tell in what is left of a word."""
    if len(product.chips) + len(events) > BITS_OF_A_WORD:
        return product
    if len(product.events) + len(events) > MOST_WATCHED:
        return product
    return replace(product, events=(*product.events, *events))


def compiled(
    product: Product,
    by_system: list[bool],
    *,
    curious: frozenset[int] = frozenset(),
    representatives: Representatives | None = None,
    level: int = OPTIMISATION,
) -> CompiledProduct:
    """The machine code of a product. Raises `NotCompilableError` when it has too much of something.

    `by_system` tells for each label whether it is a step of a chip or link; for rules in `curious`
    the code notes which earlier rule was taken although their own guard held. With
    `representatives`, each state reached is exchanged for its representative. The `level` of
    optimisation changes how fast the code is there and how fast it runs, and nothing else.
    """
    _need_small_enough(product)
    layout = word_layout(product.fields)
    if representatives is not None:
        from modecheck.engine.native.representing import why_not

        reason = why_not(product, layout, representatives)
        if reason:
            raise NotCompilableError(reason)
    target = target_machine(level)
    key = product_key(product, by_system, curious, representatives, level)
    # Of steps that are cut short, or that take one of several messages, equal ones count once: this
    # takes their records.
    alike = any(fault.cut_labels for fault in product.faults)
    alike |= any(queue.any_order for queue in product.queues)
    plain = representatives is None and not alike
    kept = object_cache.load(key)
    if kept is None:
        kept = _compile(product, layout, by_system, curious, representatives, target, level)
        object_cache.store(key, *kept)
    code, notes = kept
    engine = linked(code, target)
    known = {_identity(failure): failure for failure in _failures_in(product)}
    return CompiledProduct(
        product=product,
        layout=layout,
        successors=engine.get_function_address(
            "successors" if representatives is None else "represented"
        ),
        marks=engine.get_function_address("marks"),
        failures=tuple(known[identity] for identity in notes["failures"]),
        seen={tuple(meaning): number for number, meaning in enumerate(notes["seen"])},
        most_records=notes["most_records"],
        level=level,
        keep=engine,
        starts=_starts(product, layout, representatives),
        in_place=_steps_alone(product, layout, by_system, key) if level and plain else None,
    )


def _starts(
    product: Product, layout: WordLayout, representatives: Representatives | None
) -> tuple[tuple[int, ...], ...]:
    """The words of all states in which the product may begin, or of those that stand for them."""
    if representatives is None:
        return tuple(map(layout.pack, product.first_states))
    from modecheck.engine.native.representing import representative

    found = (representative(state, layout, representatives) for state in product.first_states)
    return tuple(dict.fromkeys(map(layout.pack, found)))


@lru_cache(maxsize=8)
def _explorer(in_place: InPlace | None) -> Kernel:
    return Kernel(explore.function, in_place) if in_place is not None else explore


def _steps_alone(product: Product, layout: WordLayout, by_system: list[bool], key: str) -> InPlace:
    """The product's own steps, as a part of a kernel that explores."""

    def write(module: ir.Module, parameters: tuple[ir.Type, ...]) -> ir.Function:
        frame = ReachedFrame(product, layout, module, parameters)
        StepCode(product, frame, by_system, frozenset()).write()
        return frame.function

    return InPlace(reached.function, write, key)


def compiled_observers(product: Product, alone: WordLayout) -> CompiledProduct:
    """What a product's observers look at, as machine code: in place of its successors stands
    `valuation(state, events) -> bits`, the atoms of all observers, one behind the other, judged on
    a state of the product without them, which is laid out as `alone`.
    """
    layout, target = word_layout(product.fields), target_machine(UNOPTIMISED)
    atoms = [atom for observer in product.observers for atom in observer.atoms]
    parts = (
        product_compiler(),
        (product.fields, atoms, product.conditions, alone),
    )
    key = hashlib.sha256(pickle.dumps(parts)).hexdigest()
    kept = object_cache.load(key)
    if kept is None:
        module = ir.Module(target.triple)
        ConditionCode("valuation", alone, module, events=True).write(atoms)
        ConditionCode("marks", layout, module).write(product.conditions.values())
        parsed = llvm.parse_assembly(str(module))
        _optimise(parsed, target, UNOPTIMISED)
        kept = target.emit_object(parsed), {}
        object_cache.store(key, *kept)
    engine = linked(kept[0], target)
    return CompiledProduct(
        product=product,
        layout=layout,
        successors=engine.get_function_address("valuation"),
        marks=engine.get_function_address("marks"),
        failures=(),
        seen={},
        most_records=0,
        level=UNOPTIMISED,
        keep=engine,
        starts=(),
    )


@cache
def product_compiler() -> str:
    """What makes machine code of products. Every edit of what writes it must change the key."""
    return object_cache.compiler() + product_sources()


@cache
def product_sources() -> str:
    """A hash of the modules that write the code of products, for whichever processor."""
    engine = Path(__file__).parents[1]
    rooms = [engine / room for room in ("language", "native", "reference", "reductions")]
    return object_cache.digest_of(*rooms, engine.parent / "product")


def _need_small_enough(product: Product) -> None:
    limits = (
        (len(product.chips), MOST_CHIPS, "chips"),
        (len(product.watched_events), MOST_EVENTS, "events that pairings and requirements ask for"),
        (len(product.events), MOST_WATCHED, "events that requirements watch"),
        (len(product.conditions), MOST_CONDITIONS, "modes, pairings and requirements"),
    )
    for count, most, what in limits:
        if count > most:
            raise NotCompilableError(f"it has {count} {what}, and at most {most} fit")


def product_key(
    product: Product,
    by_system: list[bool],
    curious: frozenset[int] = frozenset(),
    representatives: Representatives | None = None,
    level: int = OPTIMISATION,
) -> str:
    """A hash of whatever the code of a product depends on."""
    turning = None
    if representatives is not None:
        from modecheck.engine.native.representing import key_of

        turning = key_of(representatives)
    parts = (
        (product_compiler(), level),
        (product.fields, product.chips, product.queues, product.signal_types, product.faults),
        (product.conditions, product.watched_events, by_system, sorted(curious)),
        (product.events, product.observers, sorted(obliging_labels(product))),
        (product.idle_label, product.idle_field, product.time),
        turning,
    )
    return hashlib.sha256(pickle.dumps(parts)).hexdigest()


def _compile(
    product: Product,
    layout: WordLayout,
    by_system: list[bool],
    curious: frozenset[int],
    representatives: Representatives | None,
    target: llvm.TargetMachine,
    level: int,
) -> tuple[bytes, dict[str, Any]]:
    """The object code, and what has to be known beside it."""
    module = ir.Module(target.triple)
    frame = FunctionFrame(product, layout, module)
    StepCode(product, frame, by_system, curious).write()
    if representatives is not None:
        from modecheck.engine.native.representing import RepresentedCode

        RepresentedCode(product, layout, module, representatives).write()
    ConditionCode("marks", layout, module).write(product.conditions.values())
    parsed = llvm.parse_assembly(str(module))
    _optimise(parsed, target, level)
    notes = {
        "failures": [_identity(failure) for failure in frame.failures],
        "seen": list(frame.seen.numbers),
        "most_records": frame.most_records,
    }
    return target.emit_object(parsed), notes


def _optimise(module: llvm.ModuleRef, target: llvm.TargetMachine, level: int) -> None:
    """All that LLVM does at a level; unoptimised, it only puts variables into registers."""
    options = llvm.create_pipeline_tuning_options(speed_level=level)
    builder = llvm.create_pass_builder(target, options)
    if level != UNOPTIMISED:
        builder.getModulePassManager().run(module, builder)
        return
    passes = llvm.create_new_function_pass_manager()
    passes.add_sroa_pass()
    passes.add_simplify_cfg_pass()
    for function in module.functions:
        if not function.is_declaration:
            passes.run(function, builder)


def _identity(failure: Failure) -> str:
    return f"{failure.code}|{failure.subject}|{failure.text}|{failure.place}"


def _failures_in(part: object) -> Iterator[Failure]:
    """Every failure somewhere in a product's form."""
    if isinstance(part, Failure):
        yield part
    elif isinstance(part, Product):
        for inner in (part.chips, part.queues):
            yield from _failures_in(inner)
    elif is_dataclass(part):
        for field in fields(part):
            yield from _failures_in(getattr(part, field.name))
    elif isinstance(part, dict):
        for inner in part.values():
            yield from _failures_in(inner)
    elif isinstance(part, tuple | list):
        for inner in part:
            yield from _failures_in(inner)
