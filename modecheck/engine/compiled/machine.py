"""A product as machine code: written as LLVM IR, optimised, linked, kept on disk for next time."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any

import llvmlite
import llvmlite.binding as llvm

from modecheck.engine.compiled import assembly as ir
from modecheck.engine.compiled import object_cache
from modecheck.engine.compiled.conditions import ConditionCode
from modecheck.engine.compiled.frame import Frame
from modecheck.engine.compiled.linking import linked, target_machine
from modecheck.engine.compiled.steps import NotCompilableError, StepCode
from modecheck.engine.drives import obliging_labels
from modecheck.product.form import EventForm, Failure, Product
from modecheck.product.words import WordLayout, word_layout
from modecheck.version import __version__

if TYPE_CHECKING:
    from modecheck.engine.reductions.representatives import Representatives

OPTIMISATION = 1
"""Level of LLVM's pipeline; tests/benchmarks tells what each costs and brings."""
IN_HASTE = 0
"""The level for a product that is known to be small: its code is there in a third of the time, and
runs through so few states that nobody notices how slowly."""

BITS_OF_A_WORD = 64
MOST_CHIPS = 64
MOST_EVENTS = 31
MOST_WATCHED = 63
MOST_CONDITIONS = 63
"""What fits: a bit for each chip, each event reported or only watched, and each condition."""


@dataclass(frozen=True, slots=True)
class Machine:
    """A compiled product. The addresses stay valid as long as the machine lives.

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


def overheard(product: Product, events: tuple[EventForm, ...]) -> Product:
    """The product with more events, which steps tell in what is left of a word."""
    if len(product.chips) + len(events) > BITS_OF_A_WORD:
        return product
    if len(product.events) + len(events) > MOST_WATCHED:
        return product
    return replace(product, events=(*product.events, *events))


def compiled(
    product: Product,
    drives: list[bool],
    *,
    curious: frozenset[int] = frozenset(),
    representatives: Representatives | None = None,
    level: int = OPTIMISATION,
) -> Machine:
    """The machine code of a product. Raises `NotCompilableError` when it has too much of something.

    `drives` tells for each label whether it is a step of a chip or link; for rules in `curious`
    the code notes which earlier rule was taken although their own guard held. With
    `representatives`, each state reached is exchanged for its representative. The `level` of
    optimisation changes how fast the code is there and how fast it runs, and nothing else.
    """
    _need_small_enough(product)
    layout = word_layout(product.fields)
    if representatives is not None:
        from modecheck.engine.compiled.representing import why_not

        reason = why_not(product, layout, representatives)
        if reason:
            raise NotCompilableError(reason)
    target = target_machine(level)
    key = _key(product, drives, curious, representatives, target, level)
    kept = object_cache.load(key)
    if kept is None:
        kept = _compile(product, layout, drives, curious, representatives, target, level)
        object_cache.store(key, *kept)
    code, notes = kept
    engine = linked(code, target)
    known = {_identity(failure): failure for failure in _failures_in(product)}
    return Machine(
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
    )


def compiled_watchers(product: Product, alone: WordLayout) -> Machine:
    """What a product's watchers look at, as machine code: in place of its successors stands
    `valuation(state, events) -> bits`, the atoms of all watchers, one behind the other, judged on a
    state of the product without them, which is laid out as `alone`.
    """
    layout, target = word_layout(product.fields), target_machine(IN_HASTE)
    atoms = [atom for watcher in product.watchers for atom in watcher.atoms]
    parts = (
        (__version__, llvmlite.__version__, target.triple, llvm.get_host_cpu_name()),
        (product.fields, atoms, product.conditions, alone),
    )
    key = hashlib.sha256(pickle.dumps(parts)).hexdigest()
    kept = object_cache.load(key)
    if kept is None:
        module = ir.Module(target.triple)
        ConditionCode("valuation", alone, module, events=True).write(atoms)
        ConditionCode("marks", layout, module).write(product.conditions.values())
        parsed = llvm.parse_assembly(str(module))
        _optimise(parsed, target, IN_HASTE)
        kept = target.emit_object(parsed), {}
        object_cache.store(key, *kept)
    engine = linked(kept[0], target)
    return Machine(
        product=product,
        layout=layout,
        successors=engine.get_function_address("valuation"),
        marks=engine.get_function_address("marks"),
        failures=(),
        seen={},
        most_records=0,
        level=IN_HASTE,
        keep=engine,
    )


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


def _key(
    product: Product,
    drives: list[bool],
    curious: frozenset[int],
    representatives: Representatives | None,
    target: llvm.TargetMachine,
    level: int,
) -> str:
    """A hash of whatever the code depends on."""
    turning = None
    if representatives is not None:
        from modecheck.engine.compiled.representing import key_of

        turning = key_of(representatives)
    parts = (
        (__version__, llvmlite.__version__, level, target.triple, llvm.get_host_cpu_name()),
        (product.fields, product.chips, product.queues, product.signals, product.faults),
        (product.conditions, product.watched_events, drives, sorted(curious)),
        (product.events, product.watchers, sorted(obliging_labels(product))),
        (product.idle_label, product.idle_field, product.time),
        turning,
    )
    return hashlib.sha256(pickle.dumps(parts)).hexdigest()


def _compile(
    product: Product,
    layout: WordLayout,
    drives: list[bool],
    curious: frozenset[int],
    representatives: Representatives | None,
    target: llvm.TargetMachine,
    level: int,
) -> tuple[bytes, dict[str, Any]]:
    """The object code, and what has to be known beside it."""
    module = ir.Module(target.triple)
    frame = Frame(product, layout, module)
    StepCode(product, frame, drives, curious).write()
    if representatives is not None:
        from modecheck.engine.compiled.representing import RepresentedCode

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
    """All that LLVM does at a level; in haste, variables are put into registers and that is all."""
    options = llvm.create_pipeline_tuning_options(speed_level=level)
    builder = llvm.create_pass_builder(target, options)
    if level != IN_HASTE:
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
