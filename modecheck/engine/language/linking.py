"""Object code: for which machine it is made, and how it becomes something that can be called."""

from __future__ import annotations

import llvmlite.binding as llvm


def target_machine(level: int) -> llvm.TargetMachine:
    """The machine that this runs on, with code for it optimised up to a level from 0 to 3."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=level,
        jit=True,
    )


def linked(code: bytes, target: llvm.TargetMachine) -> llvm.ExecutionEngine:
    """Code that can be called, as long as this is held."""
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), target)
    engine.add_object_file(llvm.ObjectFileRef.from_data(code))
    engine.finalize_object()
    return engine
