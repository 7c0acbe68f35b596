"""Kernels as code for a GPU, and as code for this machine, where one thread runs them.

A kernel for a GPU is a function in the language of kernels, whose arguments are arrays and
integers. Arrays that each thread has for itself are named, with their sizes, and are not passed.
Where a kernel calls one that stands for a part of the product, the product's code takes its place.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import llvmlite.binding as llvm

from modecheck.engine.language import assembly as ir
from modecheck.engine.language import object_cache
from modecheck.engine.language.annotations import declared_kinds
from modecheck.engine.language.kernel import Kernel
from modecheck.engine.language.kinds import I64, Array, GroupKind, Kind
from modecheck.engine.language.linking import target_machine
from modecheck.engine.language.native_kernel import code_key
from modecheck.engine.language.operands import WORD, passed_types
from modecheck.engine.language.program import Program, Writer

TRIPLE = "nvptx64-nvidia-cuda"
PROCESSOR = "sm_75"
"""The oldest kind that today's drivers still translate for; for newer ones they do it anew. Its
threads make progress one by one, on which waiting for another thread of a group rests."""
OPTIMISATION, ON_PROCESSOR = 3, 1
"""Levels of LLVM's pipeline; what the processor runs is soon there, and need not be fast."""
BLOCK = 128
"""Threads of a block."""
BLOCKS = 8
"""Blocks of a multiprocessor that have registers at the same time: with more of them, more looks at
memory are under way, and with fewer, less has to be put aside."""


@dataclass(frozen=True, slots=True)
class GpuKernel:
    """A kernel, how many words a state has (`shape`), the arrays of each thread by name, with how
    many elements they have, and what is written in place of other kernels. `key` stands for all
    that the latter depends on.
    """

    kernel: Kernel
    words: int = 1
    local: Mapping[str, int] = field(default_factory=dict)
    written: Mapping[Kernel, Writer] = field(default_factory=dict)
    key: str = ""
    blocks: int = BLOCKS

    @property
    def name(self) -> str:
        return self.kernel.__name__

    @property
    def function(self) -> Callable[..., Any]:
        return self.kernel.function

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """The kinds of all arguments."""
        shape = GroupKind((I64,) * self.words)
        return tuple([shape if kind is None else kind for kind in declared_kinds(self.function)])

    @property
    def passed(self) -> list[tuple[str, Kind]]:
        """The names and kinds of those arguments that are passed."""
        code = self.function.__code__
        names = code.co_varnames[: code.co_argcount]
        pairs = zip(names, self.kinds, strict=True)
        return [(name, kind) for name, kind in pairs if name not in self.local]


def ptx_of(kernel: GpuKernel) -> str:
    """The kernel as PTX, which a driver translates for its device. No device is needed. Raises
    `KernelError`.
    """
    llvm.initialize_all_targets()
    llvm.initialize_all_asmprinters()
    target = llvm.Target.from_triple(TRIPLE).create_target_machine(cpu=PROCESSOR, opt=OPTIMISATION)
    layout = str(target.target_data)
    program = _program(kernel, ir.Module(TRIPLE, data_layout=layout), for_gpu=True)
    text = str(target.emit_assembly(_optimised(program, target, OPTIMISATION)))
    head, entry, body = text.partition(f".entry {kernel.name}(")
    bounds = f"\n.maxntid {BLOCK}\n.minnctapersm {kernel.blocks}\n{{\n"
    return head + entry + body.replace("\n{\n", bounds, 1)


def kept_ptx(kernel: GpuKernel) -> str:
    """The same, from the disk if it was made before."""
    return _kept(kernel, PROCESSOR, lambda: ptx_of(kernel).encode()).decode()


def kept_object(kernel: GpuKernel) -> bytes:
    """The kernel as object code for this machine, from the disk if it was made before."""
    return _kept(kernel, "", lambda: object_of(kernel))


def _kept(kernel: GpuKernel, processor: str, make: Callable[[], bytes]) -> bytes:
    facts = code_key(kernel.function, kernel.kinds), sorted(kernel.local.items())
    own = kernel.key, kernel.blocks, object_cache.digest_of(Path(__file__).parent)
    key = hashlib.sha256(repr((facts, own, processor)).encode()).hexdigest()
    kept = object_cache.load(key)
    if kept is not None:
        return kept[0]
    made = make()
    object_cache.store(key, made, {})
    return made


def object_of(kernel: GpuKernel) -> bytes:
    """The kernel as object code for this machine. Raises `KernelError`."""
    target = target_machine(ON_PROCESSOR)
    program = _program(kernel, ir.Module(llvm.get_process_triple()), for_gpu=False)
    return bytes(target.emit_object(_optimised(program, target, ON_PROCESSOR)))


def _program(kernel: GpuKernel, module: ir.Module, *, for_gpu: bool) -> Program:
    written = {one.function: writer for one, writer in kernel.written.items()}
    program = Program(module, written, for_gpu=for_gpu)
    inner = program.translated(kernel.function, kernel.kinds)
    inner.function.attributes = " alwaysinline"  # where its arrays are is known in the entry alone
    types = tuple([one for _, kind in kernel.passed for one in passed_types(kind)])
    outer = ir.Function(module, kernel.name, ir.Type("void"), types)
    outer.convention = "ptx_kernel " if for_gpu else ""
    code = ir.Builder(outer, outer.append_basic_block("begin"))
    given, arguments = iter(outer.args), []
    names = kernel.function.__code__.co_varnames
    for name, kind in zip(names, kernel.kinds, strict=False):
        if name in kernel.local:
            arguments += _own_array(code, kind, kernel.local[name])
        else:
            arguments += [next(given) for _ in passed_types(kind)]
    code.call(inner.function, arguments)
    code.end("ret void")
    return program


def _own_array(code: ir.Builder, kind: Kind, size: int) -> list[ir.Value]:
    """An array on the stack of a thread, as it is passed on."""
    assert isinstance(kind, Array)
    element = kind.element.stored
    nothing = ir.Value(WORD, "0")
    room = code.alloca(ir.Type(f"[{size} x {element.text}]", element))
    return [code.gep(room, [nothing, nothing]), ir.Value(WORD, str(size))]


def _optimised(program: Program, target: llvm.TargetMachine, level: int) -> llvm.ModuleRef:
    module = llvm.parse_assembly(str(program))
    options = llvm.create_pipeline_tuning_options(speed_level=level)
    builder = llvm.create_pass_builder(target, options)
    builder.getModulePassManager().run(module, builder)
    return module
