"""C code of chips of small devices, written for tests."""

from __future__ import annotations

import pytest

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.firmware.c_bench import Bench
from modecheck.firmware.c_code import CCode
from modecheck.firmware.c_header import header_text
from modecheck.firmware.c_source import source_text
from modecheck.firmware.chip_plan import ChipPlan, plan_of
from modecheck.firmware.compiler import compiler
from modecheck.firmware.proof import Proof, proved
from modecheck.firmware.proof_cases import CasesOf, gather
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device
from modecheck.model.starts import need_one_start
from modecheck.product.composition import compose


def _has_compiler() -> bool:
    try:
        return bool(compiler())
    except InvalidInput:
        return False


needs_compiler = pytest.mark.skipif(not _has_compiler(), reason="there is no C compiler")


def chips_with_code(device: Device) -> list[str]:
    """The chips of a device, but for those that may start in several ways: they have no code."""
    names = [chip.name for chip in device.chips.values() if not chip.actor]
    return [name for name in names if _has_one_start(device, name)]


def _has_one_start(device: Device, name: str) -> bool:
    try:
        need_one_start(device, "is left out", [name])
    except InvalidInput:
        return False
    return True


def cases_of(device: Device, names: list[str], most: int = 2_000) -> list[CasesOf]:
    """The cases of chips in the first states of their device."""
    plain = Search(engine="plain", limits=Limits(states=most))
    space = explore_with(compose(device), plain)
    made = [CasesOf(plan_of(device, name), space) for name in names]
    gather(space, made)
    return made


def files_of(cases: CasesOf, style: str) -> tuple[Bench, dict[str, str]]:
    """The code of the chip in a style, and its bench."""
    return files_of_plan(cases.plan, style)


def files_of_plan(plan: ChipPlan, style: str) -> tuple[Bench, dict[str, str]]:
    """The same of a chip of which no cases are known."""
    code = CCode(plan)
    code.words.claim()
    source = source_text(code, ["for a test"], style)
    prefix = code.words.prefix
    return Bench(code), {
        f"{prefix}.h": header_text(code, ["for a test"]),
        f"{prefix}.c": source,
    }


def proof_of(cases: CasesOf, style: str) -> Proof:
    bench, files = files_of(cases, style)
    return proved(bench, cases, files)
