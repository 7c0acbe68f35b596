"""What is written of a product is valid assembly: LLVM's own verifier accepts it. Without being
asked it trusts what it is given, and what it makes of the rest is anybody's guess.
"""

from __future__ import annotations

from pathlib import Path

import llvmlite.binding as llvm
import pytest

from modecheck.checks import watched
from modecheck.engine.language import assembly as ir
from modecheck.engine.native.frame import FunctionFrame
from modecheck.engine.native.steps import StepCode
from modecheck.engine.reference.system_actions import system_actions
from modecheck.model.devices import read_device
from modecheck.product.bit_packing import word_layout
from modecheck.product.composition import compose
from modecheck.product.ir import Product
from tests.models.bundled import is_small
from tests.sweeps import sweep

TURNS = Path("models/small/two_statements.yaml")
"""Its chips take turns, which all steps ask for, and an observer's code is shared by all steps."""
BUNDLED = [
    *filter(is_small, sorted(Path("models/small").glob("*.yaml"))),
    *filter(is_small, sorted(Path("models/faulty").glob("*.yaml"))),
]


def verify(product: Product) -> None:
    module = ir.Module(llvm.get_process_triple())
    frame = FunctionFrame(product, word_layout(product.fields), module)
    StepCode(product, frame, system_actions(product), frozenset()).write()
    llvm.parse_assembly(str(module)).verify()


@pytest.mark.parametrize("path", sweep(BUNDLED, lambda path: path == TURNS), ids=str)
def test_the_code_of_steps_is_valid(path: Path) -> None:
    """Without observers, and with the observer of each requirement that has one."""
    device = read_device(str(path))
    alone = compose(device)
    verify(alone)
    waiting, following = watched.needs_of(alone)
    for need in (*waiting, *following):
        verify(compose(device, observers=[need.name]))
