"""C code of every chip of every bundled device: how large it is, and whether it is proven.

    python -m tests.benchmarks.firmware [--states 5000] [--random N] [--first SEED] [NAME...]

Each chip is written in both styles and compiled by gcc and clang with every warning an error. Its
bytes are those of `size -G`: instructions, and constant data; on this machine, and on a Cortex-M0.
`RAM` is the size of the chip's struct there. Then the code is proven in the cases of the first
`--states` states of its device, in its first variant; a `+` behind the cases says that there are
more states. Chips that may start in several ways have no code, and chips of which the code is,
letter for letter, that of a chip before are only counted.
With `--random N`, N random chips are proven in place of the bundled ones, in the two styles in
turn. A compiler that is not there is left out. The exit status is 1 if any code is refused or
differs from its model.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from modecheck.engine.choice import Search, explore_with
from modecheck.engine.contract.space import Limits
from modecheck.firmware.c_source import STYLES
from modecheck.firmware.chip_plan import plan_of
from modecheck.firmware.compiler import STRICT
from modecheck.firmware.proof_cases import CasesOf, gather
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from tests.firmware.made import cases_of, chips_with_code, files_of, files_of_plan, proof_of
from tests.generation.devices import rolled
from tests.models.bundled import MODELS, name_of

PATTERNS = (
    *("*/device.yaml", "tandem/timed*.yaml", "small/*.yaml", "chances/*.yaml"),
    *("published/*.yaml", "published/chances/*.yaml", "faulty/*.yaml"),
)

SEEDS_FOR_EACH = 10
"""At most so many seeds for a chip: one that may start in several ways has no C code, and is left
out.
"""
RANDOM_STATES = 200
"""States of a random device from which cases are taken, as in the tests."""

CORTEX = ("arm-none-eabi-gcc", "-mcpu=cortex-m0", "-mthumb", "-Os", "-ffreestanding")
HOST = ("gcc", "-Os", "-fno-asynchronous-unwind-tables")
SECOND = ("clang", "-Os")
MACHINES = {"host": HOST, "m0": CORTEX, "clang": SECOND}

HEADS = (
    f"{'device':34} {'chips':>5} {'new':>3}  {'cases':>8}  {'switch: host':>12} {'m0':>11}  "
    f"{'table: host':>12} {'m0':>11} {'RAM':>4}"
)


@dataclass(frozen=True, slots=True)
class Bytes:
    """Instructions and constant data of an object file, in bytes."""

    code: int = 0
    data: int = 0

    def __add__(self, other: Bytes) -> Bytes:
        return Bytes(self.code + other.code, self.data + other.data)

    def __str__(self) -> str:
        return f"{self.code}+{self.data}" if self.code else "-"


@dataclass(slots=True)
class DeviceRow:
    """What came of one device; `sizes` by style and machine, and whatever went wrong in words."""

    name: str
    chips: int = 0
    new: int = 0
    cases: int = 0
    complete: bool = True
    ram: int = 0
    sizes: dict[tuple[str, str], Bytes] = field(default_factory=dict)
    failures: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        more = " " if self.complete else "+"
        sizes = [str(self.sizes.get((s, m), Bytes())) for s in STYLES for m in ("host", "m0")]
        return (
            f"{self.name:34} {self.chips:5} {self.new:3}  {self.cases:8,}{more} {sizes[0]:>12} "
            f"{sizes[1]:>11}  {sizes[2]:>12} {sizes[3]:>11} {self.ram or '-':>4}"
        )


def compiled_bytes(files: dict[str, str], machine: Sequence[str]) -> Bytes | None:
    """The bytes of a chip's code, None without that compiler. Raises `InvalidInput` with what it
    said if it refuses the code.
    """
    if shutil.which(machine[0]) is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        for name, text in files.items():
            (Path(folder) / name).write_text(text, encoding="utf-8")
        (source,) = Path(folder).glob("*.c")
        target = str(source.with_suffix(".o"))
        command = [*machine, *STRICT, "-c", "-o", target, str(source)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise InvalidInput([]) from RuntimeError(done.stderr)
        reader = "arm-none-eabi-size" if machine is CORTEX else "size"
        said = subprocess.run([reader, "-G", target], capture_output=True, text=True, check=True)
    code, data, bss, *_ = said.stdout.splitlines()[1].split()
    assert bss == "0", "a chip's code has no variables of its own"
    return Bytes(int(code), int(data))


def struct_bytes(files: dict[str, str]) -> int:
    """The bytes of a chip's struct on a Cortex-M0; 0 without its compiler."""
    if shutil.which(CORTEX[0]) is None:
        return 0
    with tempfile.TemporaryDirectory() as folder:
        (header,) = (name for name in files if name.endswith(".h"))
        (Path(folder) / header).write_text(files[header], encoding="utf-8")
        source = Path(folder) / "one.c"
        kind = header.removesuffix(".h")
        source.write_text(f'#include "{header}"\n{kind}_t one;\n', encoding="utf-8")
        target = str(source.with_suffix(".o"))
        subprocess.run([*CORTEX, "-c", "-o", target, str(source)], check=True)
        command = ["arm-none-eabi-size", "-G", target]
        said = subprocess.run(command, capture_output=True, text=True, check=True)
    return int(said.stdout.splitlines()[1].split()[2])


def bundled_devices() -> list[Path]:
    """Every bundled device, each once."""
    return list(dict.fromkeys(path for one in PATTERNS for path in sorted(MODELS.glob(one))))


class FirmwareTable:
    """Makes the rows, and knows which code has been proven already."""

    def __init__(self, states: int) -> None:
        self._states = states
        self._proven: set[str] = set()
        self.total = DeviceRow("together")
        self.kinds = Counter[str]()
        self.failing = 0

    def row(self, path: Path) -> DeviceRow | None:
        """One device; None without a chip."""
        device = read_device(str(path))
        names = chips_with_code(device)
        if not names:
            return None
        row = DeviceRow(name_of(path), len(names))
        new = [name for name in names if self._is_new(device, name)]
        row.new = len(new)
        for cases in self._cases(device, new, row):
            for style in STYLES:
                self._one(cases, style, row)
            row.cases += len(cases.known)
        self._add(row)
        return row

    def _is_new(self, device: Device, name: str) -> bool:
        _, files = files_of_plan(plan_of(device, name), STYLES[0])
        text = "".join(files.values())
        known = text in self._proven
        self._proven.add(text)
        return not known

    def _cases(self, device: Device, names: list[str], row: DeviceRow) -> list[CasesOf]:
        if not names:
            return []
        search = Search(engine="plain", limits=Limits(states=self._states))
        space = explore_with(compose(device), search)
        row.complete = space.complete
        made = [CasesOf(plan_of(device, name), space) for name in names]
        gather(space, made)
        return made

    def _one(self, cases: CasesOf, style: str, row: DeviceRow) -> None:
        """One chip in one style: compiled by each compiler, measured, proven."""
        chip = f"{row.name} {cases.plan.chip.name} {style}"
        try:
            _, files = files_of(cases, style)
            for machine, command in MACHINES.items():
                found = compiled_bytes(files, command)
                if found is not None:
                    key = style, machine
                    row.sizes[key] = row.sizes.get(key, Bytes()) + found
            row.ram += struct_bytes(files) if style == STYLES[0] else 0
            proof = proof_of(cases, style)
        except InvalidInput as refused:
            row.failures.append(f"{chip}: {refused}{refused.__cause__ or ''}")
            return
        self.kinds += proof.cases
        self.failing += proof.failing
        row.failures += [f"{chip}: {one}" for one in proof.differences[:1]]

    def _add(self, row: DeviceRow) -> None:
        total = self.total
        total.chips, total.new = total.chips + row.chips, total.new + row.new
        total.cases, total.ram = total.cases + row.cases, total.ram + row.ram
        total.complete = total.complete and row.complete
        total.failures += row.failures
        for key, found in row.sizes.items():
            total.sizes[key] = total.sizes.get(key, Bytes()) + found


def told_table(paths: Iterable[Path], states: int) -> int:
    """Print the table of bundled devices; the number of failures."""
    table, devices = FirmwareTable(states), 0
    print(HEADS, flush=True)
    for path in paths:
        row = table.row(path)
        if row is not None:
            devices += 1
            print(row.text, flush=True)
            print("".join(f"    FAILED: {one}\n" for one in row.failures), end="", flush=True)
    print(table.total.text)
    kinds = ", ".join(f"{count:,} {kind}" for kind, count in sorted(table.kinds.items()))
    print(f"devices: {devices}; compared in both styles together: {kinds}")
    print(f"cases that fail in the model, of which nothing is said: {table.failing:,}")
    missing = [command[0] for command in MACHINES.values() if shutil.which(command[0]) is None]
    print(f"compilers: {', '.join(_versions())}{'; missing: ' if missing else ''}{missing or ''}")
    return len(table.total.failures)


def _versions() -> Iterator[str]:
    for name, *_ in MACHINES.values():
        if shutil.which(name) is not None:
            asked = "-dumpversion" if name == SECOND[0] else "-dumpfullversion"
            said = subprocess.run([name, asked], capture_output=True, text=True, check=True)
            yield f"{name} {said.stdout.strip()}"


def told_random(first: int, count: int) -> int:
    """Prove random chips, one of each device; the number of failures."""
    kinds, failures, failing, chips = Counter[str](), 0, 0, 0
    seeds = iter(range(first, first + SEEDS_FOR_EACH * count))
    while chips + failures < count:
        seed = next(seeds)
        device = rolled(seed, timed=bool(seed % 3)).read()
        names = [chip.name for chip in device.chips.values() if not chip.actor]
        name = names[seed % len(names)]
        if name not in chips_with_code(device):
            continue
        try:
            (cases,) = cases_of(device, [name], RANDOM_STATES)
            proof = proof_of(cases, STYLES[seed % 2])
        except InvalidInput as refused:
            print(f"seed {seed}: {refused}", flush=True)
            failures += 1
            continue
        chips += 1
        kinds += proof.cases
        failing += proof.failing
        if not proof.holds:
            failures += 1
            chips -= 1
            print(f"seed {seed}: {proof.differences[0]}", flush=True)
        print(f"\r{chips} of {count}", end="", file=sys.stderr)
    print(file=sys.stderr)
    told = ", ".join(f"{number:,} {kind}" for kind, number in sorted(kinds.items()))
    print(f"random chips: {chips} from seed {first} on; cases: {sum(kinds.values()):,} ({told})")
    print(f"cases that fail in the model: {failing:,}; chips refused or different: {failures}")
    return failures


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("names", nargs="*", help="bundled devices (default: all)")
    parser.add_argument("--states", type=int, default=5_000)
    parser.add_argument("--random", type=int, default=0)
    parser.add_argument("--first", type=int, default=0)
    asked = parser.parse_args()
    began = time.process_time()
    if asked.random:
        failures = told_random(asked.first, asked.random)
    else:
        paths = bundled_devices()
        chosen = [one for one in paths if not asked.names or name_of(one) in asked.names]
        failures = told_table(chosen, asked.states)
    print(f"processor time without compilers: {time.process_time() - began:.0f} s")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
