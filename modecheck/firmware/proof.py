"""The proof that a chip's C code does what the chip does: every case is given to the compiled code,
and all that it does is compared with the interpreter.
"""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from modecheck.firmware.c_bench import (
    FAILED,
    FIRST_OCCASION,
    RESTART,
    SEE,
    SENT,
    SET,
    SIGNALLED,
    STARTED,
    STOPPED,
    STORED,
    Bench,
)
from modecheck.firmware.c_words import ANSWERS
from modecheck.firmware.chip_plan import ChipPlan, Occasion
from modecheck.firmware.compiler import SANITIZERS, compiled
from modecheck.firmware.proof_cases import RESTARTED, CasesOf, ChipCase, ModelOutcome
from modecheck.scenario.sentences import signal_text

MOST_SHOWN = 20
"""Differences that are reported; the others are counted."""
TOGETHER = 20_000
"""Cases that are given to one run of the program."""


@dataclass(frozen=True, slots=True)
class CodeDifference:
    """A case in which the code does something else, in words."""

    case: str
    model: str
    code: str


@dataclass(slots=True)
class Proof:
    """What was compared: the number of cases of each kind, the differences (the first of them, and
    how many), and how many cases fail in the model, so that nothing is said of them.
    """

    cases: Counter[str] = field(default_factory=Counter)
    differences: list[CodeDifference] = field(default_factory=list)
    different: int = 0
    failing: int = 0

    @property
    def holds(self) -> bool:
        return not self.different


def proved(bench: Bench, cases: CasesOf, files: dict[str, str]) -> Proof:
    """Compile the files of a chip with its bench, and compare every case that was gathered.

    Raises `InvalidInput` when there is no compiler, or it refuses the code.
    """
    proof = Proof()
    with tempfile.TemporaryDirectory(prefix="modecheck-") as folder:
        program = _program(bench, files, folder)
        for some in _parts(cases.known):
            _compare(bench, cases, program, some, proof)
    return proof


def _program(bench: Bench, files: dict[str, str], folder: str) -> str:
    prefix = bench.code.words.prefix
    for name, text in {**files, f"{prefix}_bench.c": bench.text()}.items():
        with open(os.path.join(folder, name), "w", encoding="utf-8") as file:
            file.write(text)
    program = os.path.join(folder, "bench")
    sources = [os.path.join(folder, name) for name in (f"{prefix}.c", f"{prefix}_bench.c")]
    debug = f"-D{bench.code.words.names.constant('debug')}"
    compiled(sources, program, (*SANITIZERS, "-DBENCH_MAIN", debug), folder=folder)
    return program


def _parts(cases: Iterable[ChipCase]) -> Iterator[list[ChipCase]]:
    part: list[ChipCase] = []
    for case in cases:
        part.append(case)
        if len(part) == TOGETHER:
            yield part
            part = []
    if part:
        yield part


def _compare(
    bench: Bench, cases: CasesOf, program: str, some: list[ChipCase], proof: Proof
) -> None:
    outcomes = [(case, cases.outcome(case)) for case in some]
    wanted = [(case, outcome) for case, outcome in outcomes if outcome is not None]
    proof.failing += len(outcomes) - len(wanted)
    given = [list(_given(bench, case)) for case, _ in wanted]
    lines = [f"{len(one)} {' '.join(map(str, one))}" for part in given for one in part]
    done = subprocess.run(  # noqa: S603 - the program just compiled
        [program], input="\n".join(lines), capture_output=True, text=True, check=False
    )
    logs = iter(done.stdout.splitlines())
    plan = bench.code.plan
    for (case, outcome), part in zip(wanted, given, strict=True):
        log = [next(logs, "") for _ in part][-1]
        if not log:
            said = done.stderr.strip().splitlines()[:5] or ["it ended early"]
            _note(proof, plan, case, "goes on", f"stops: {' '.join(said)}")
            return
        proof.cases[kind_of(case.occasion)] += 1
        seen = observed(bench, [int(number) for number in log.split()])
        told = [*_differences(plan, case, outcome, seen)]
        for model, code in told[:1]:
            _note(proof, plan, case, model, code)


def _note(proof: Proof, plan: ChipPlan, case: ChipCase, model: str, code: str) -> None:
    proof.different += 1
    if len(proof.differences) < MOST_SHOWN:
        proof.differences.append(CodeDifference(case_in_words(plan, case), model, code))


def _given(bench: Bench, case: ChipCase) -> Iterator[list[int]]:
    """The operations of a case; the last one is the case itself."""
    yield [SET, *case.own]
    yield from ([SEE, *cell] for cell in seen_cells(bench, case.seen))
    if case.occasion == RESTARTED:
        yield [RESTART]
        return
    number = bench.code.plan.occasions.index(case.occasion) + FIRST_OCCASION
    yield [number, case.value, case.late]


def seen_cells(bench: Bench, seen: Iterable[int]) -> Iterator[tuple[int, int, int]]:
    """The number of a reader, an index and a value, for all that the chip reads of others."""
    for place, value in zip(bench.code.plan.foreign, seen, strict=False):
        expressions = bench.code.expressions
        index = max(expressions.place_of(place), 0)
        yield bench.readers.index(expressions.reader(place)), index, value


@dataclass(frozen=True, slots=True)
class CodeOutcome:
    """What the code did: as `ModelOutcome`, with the timers that it stopped."""

    answer: str
    own: tuple[int, ...]
    begun: frozenset[int]
    stored: tuple[tuple[int, int], ...]
    sent: tuple[tuple[int, int, int], ...]
    signalled: tuple[tuple[int, int], ...]
    failed: bool


def observed(bench: Bench, log: list[int]) -> CodeOutcome:
    """What a log says."""
    answer, count = log[0], log[1]
    entries = [tuple(log[2 + 4 * n : 6 + 4 * n]) for n in range(count)]
    begun: set[int] = set()
    for kind, timer, *_ in entries:
        if kind == STARTED:
            begun.add(timer)
        elif kind == STOPPED:
            begun.discard(timer)
    variables = list(bench.code.plan.chip.variables)
    return CodeOutcome(
        answer=ANSWERS[answer],
        own=tuple(log[2 + 4 * count :]),
        begun=frozenset(begun),
        stored=tuple(
            (bench.cells.index((variables[a], b)), c) for kind, a, b, c in entries if kind == STORED
        ),
        sent=tuple((a, b, c) for kind, a, b, c in entries if kind == SENT),
        signalled=tuple((a, c) for kind, a, _, c in entries if kind == SIGNALLED),
        failed=any(kind == FAILED for kind, *_ in entries),
    )


def _differences(
    plan: ChipPlan, case: ChipCase, model: ModelOutcome, code: CodeOutcome
) -> Iterator[tuple[str, str]]:
    """In what the two differ, in words: what the model does, and the code."""
    if case.occasion != RESTARTED and model.answer != code.answer:
        yield f"the answer is {model.answer}", f"it is {code.answer}"
    if model.own != code.own:
        yield own_in_words(plan, model.own), own_in_words(plan, code.own)
    if model.begun - model.unclear != code.begun - model.unclear:
        yield _timers(plan, model.begun, "starts"), _timers(plan, code.begun, "starts")
    for word in ("stored", "sent", "signalled"):
        mine, other = getattr(model, word), getattr(code, word)
        if mine != other:
            yield f"{word}: {mine}", f"{word}: {other}"
    if code.failed:
        yield "every value is in its range", "a value is out of its range"


def _timers(plan: ChipPlan, numbers: Iterable[int], does: str) -> str:
    names = ", ".join(plan.timers.all[number].title for number in sorted(numbers))
    return f"{does} {names or 'no timer'}"


def kind_of(occasion: Occasion) -> str:
    """What a case is counted as."""
    if occasion.queue >= 0:
        return "messages"
    if occasion.signal >= 0:
        return "signals"
    if occasion.timer >= 0:
        return "timers"
    return "own rules" if occasion.rule >= 0 else "restarts"


def own_in_words(plan: ChipPlan, own: tuple[int, ...]) -> str:
    """What a chip knows: its state, its variables, the timers that run."""
    variables = [
        f"{plan.product.fields[field].name} {value}"
        for field, value in zip(plan.variable_fields, own[1:], strict=False)
    ]
    running = own[1 + len(variables) :]
    timers = [one.title for one, runs in zip(plan.timers.all, running, strict=True) if runs]
    parts = [f"state {plan.form.leaves[own[0]]}", *variables]
    return ", ".join([*parts, *([f"running: {', '.join(timers)}"] if timers else [])])


def case_in_words(plan: ChipPlan, case: ChipCase) -> str:
    """A case: what the chip knows and reads, and what it is given."""
    fields = plan.product.fields
    reads = [f"{fields[n].name} {v}" for n, v in zip(plan.foreign, case.seen, strict=True)]
    product, occasion = plan.product, case.occasion
    if occasion.queue >= 0:
        queue = product.queues[occasion.queue]
        message = queue.messages[occasion.code - 1]
        value = f"({case.value})" if message.type is not None else ""
        given = f"{message.name}{value} via {queue.name}{', late' if case.late else ''}"
    elif occasion.signal >= 0:
        given = signal_text(product, occasion.signal, case.value)
    elif occasion.timer >= 0:
        given = f"{plan.timers.all[occasion.timer].title} expires"
    else:
        given = plan.rules[occasion.rule].title if occasion.rule >= 0 else "a restart"
    told = f"; it reads {', '.join(reads)}" if reads else ""
    return f"{given} in {own_in_words(plan, case.own)}{told}"
