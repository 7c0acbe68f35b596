"""The verdict on a requirement: whether it holds, and what that rests on."""

from __future__ import annotations

from dataclasses import dataclass, field

from modecheck.checks.findings import Finding
from modecheck.engine.space import Space
from modecheck.model.parts import Requirement
from modecheck.scenario.traces import Trace

HOLDS, BROKEN, FALLS, VACUOUS, UNDECIDED = "holds", "broken", "falls", "vacuous", "undecided"
"""Falls: it is broken, and so is one that it builds on. Vacuous: it holds only because it is never
put to the test. Undecided: the exploration is incomplete, or from some state the answer depends on
what comes after a failing step, which is not explored.
"""


@dataclass(frozen=True, slots=True)
class Cost:
    """What it took to judge a requirement: the states of the exploration in which it was judged,
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
