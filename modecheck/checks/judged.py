"""The verdict on a requirement: whether it holds, and what that rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from modecheck.checks.declared import Check, Needs
from modecheck.checks.findings import Finding
from modecheck.engine.contract.space import Space
from modecheck.model.parts import Requirement
from modecheck.scenario.traces import Trace

if TYPE_CHECKING:
    from modecheck.checks.explored import Explored

HOLDS, BROKEN, FALLS, VACUOUS, UNDECIDED = "holds", "broken", "falls", "vacuous", "undecided"
"""Falls: it is broken, and so is one that it builds on. Vacuous: it holds only because it is never
put to the test. Undecided: the exploration is incomplete, or from some state the answer depends on
what comes after a failing step, which is not explored.
"""


@dataclass(frozen=True, slots=True)
class Cost:
    """What it took to judge a requirement: the states that had to be looked at to judge it,
    the seconds that this and its searches took, and how many requirements shared it.
    """

    states: int
    seconds: float
    shared_by: int = 1


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict in one variant. `rests_on` names the fairness assumptions that it needs; `remark`
    says why it is undecided, or what limits the verdict. Equality ignores the cost.
    """

    need: Requirement
    verdict: str
    finding: Finding | None = None
    rests_on: tuple[str, ...] = ()
    remark: str = ""
    cost: Cost | None = field(default=None, compare=False)


def broken(need: Requirement, text: str, trace: Trace | None = None) -> Judged:
    """A requirement that does not hold, with the scenario that shows it."""
    finding = Finding(
        code="broken-requirement",
        subject=need.name,
        text=f"{need.sentence}: {text}",
        place=need.place,
        trace=trace,
    )
    return Judged(need, BROKEN, finding)


def up_to_failures(space: Space) -> str:
    """How failing steps limit a verdict: what comes after them is not explored."""
    return "only for runs without the step errors listed above" if space.failures else ""


def undecided(need: Requirement, why: str = "") -> Judged:
    return Judged(need, UNDECIDED, remark=why)


def _vacuous(explored: Sequence[Explored]) -> Iterator[Finding]:
    """Requirements that are not put to the test in any variant."""
    for number, judged in enumerate(explored[0].requirements):
        if all(one.requirements[number].verdict == VACUOUS for one in explored):
            need = judged.need
            text = f"{need.sentence}: it is never put to the test"
            yield Finding("vacuous-requirement", need.name, text, need.place)


CHECKS = (
    Check("broken-requirement", Needs.STATES),
    Check("vacuous-requirement", Needs.PATHS, across=_vacuous, every_variant=True),
)
"""Requirements are judged one by one: a broken one is found by its verdict."""
