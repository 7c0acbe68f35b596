"""Latency from an event to its answer: the whole distribution, by transient analysis.

Probability mass moves through the chain in order of time, in floating point; what has not been
answered when `MOST_MOVES` is hit, or is less than `LEAST`, is reported as unresolved.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from math import gcd

from modecheck.chances.chain import Chain, MarkovStep
from modecheck.chances.long_run import Class
from modecheck.chances.reaching import able_to
from modecheck.chances.solving import Number, Row, solve

MOST_MOVES = 3_000_000
"""Moves of probability mass before the analysis stops: some seconds."""
LEAST = 1e-18
"""Mass below this is no longer followed."""


@dataclass(frozen=True, slots=True)
class Latency:
    """`shares[k]` is the chance of an answer after exactly `k` units of `unit` seconds, or of steps
    if no time passes (`unit` is None). `never` is the chance that no answer can come any more.
    `usual` says whether it is measured from every such event of the long run, or else from the
    first one.
    """

    unit: Fraction | None
    shares: dict[int, float]
    never: float
    unresolved: float
    usual: bool

    def percentile(self, share: float) -> int | None:
        """The earliest moment by which this share of all is answered; None if it never is."""
        total = 0.0
        for moment in sorted(self.shares):
            total += self.shares[moment]
            if total >= share - 1e-9:
                return moment
        return None

    @property
    def mean(self) -> float | None:
        """In units; None if some are never answered, or unresolved."""
        if self.never > LEAST or self.unresolved > 1e-6:
            return None
        return sum(moment * share for moment, share in self.shares.items())

    def later_than(self, seconds: Fraction) -> float | None:
        """The chance of a later answer, or of no known one; None if no time passes."""
        if self.unit is None:
            return None
        most = seconds / self.unit
        late = sum(share for moment, share in self.shares.items() if moment > most)
        return late + self.never + self.unresolved


def latency(chain: Chain, classes: list[Class], event: int, answer: int) -> Latency | None:
    """From steps with a bit of `event` to steps with a bit of `answer`; None if none can happen."""
    starts, usual = _starts(chain, classes, event)
    total = float(sum(weight for _, weight in starts))
    if not total:
        return None
    unit = _unit(chain)
    flow = _Flow(chain, answer, unit)
    for arc, weight in starts:
        share = float(weight) / total
        flow.put(arc, 0, share)
    flow.run()
    return Latency(unit, dict(flow.shares), flow.never, flow.unresolved, usual)


def _starts(
    chain: Chain, classes: list[Class], event: int
) -> tuple[list[tuple[MarkovStep, Number]], bool]:
    if len(classes) == 1 and classes[0].chance == 1:
        usual = _with_event(chain, classes[0].visits, event)
        if usual:
            return usual, True
    return _with_event(chain, _visits_before(chain, event), event), False


def _with_event(
    chain: Chain, visits: dict[int, Number], event: int
) -> list[tuple[MarkovStep, Number]]:
    return [
        (arc, float(visit) * float(arc.probability))
        for number, visit in visits.items()
        for arc in chain.arcs[number]
        if arc.events & event
    ]


def _visits_before(chain: Chain, event: int) -> dict[int, Number]:
    """How often each state is visited before the first such event."""
    able = sorted(able_to(chain, event))
    if 0 not in able:
        return {}
    position = {number: place for place, number in enumerate(able)}
    rows: list[Row] = [{} for _ in able]
    for number in able:
        for arc in chain.arcs[number]:
            if arc.target in position and not arc.events & event:
                row, column = rows[position[arc.target]], position[number]
                row[column] = row.get(column, Fraction(0)) + arc.probability
    right = [Fraction(number == 0) for number in able]
    return dict(zip(able, solve(rows, right).values, strict=True))


def _unit(chain: Chain) -> Fraction | None:
    """The longest time of which every duration is a multiple."""
    found: Fraction | None = None
    for duration in {arc.duration for arcs in chain.arcs for arc in arcs if arc.duration}:
        if found is None:
            found = duration
        else:
            below = found.denominator * duration.denominator
            above = gcd(int(found * below), int(duration * below))
            found = Fraction(above, below)
    return found


class _Flow:
    """Mass on its way to an answer."""

    def __init__(self, chain: Chain, answer: int, unit: Fraction | None) -> None:
        self._answer = answer
        able = able_to(chain, answer)
        self._able = able
        self._moves = {
            number: [
                (arc, float(arc.probability), 1 if unit is None else int(arc.duration / unit))
                for arc in chain.arcs[number]
            ]
            for number in able
        }
        self.shares: defaultdict[int, float] = defaultdict(float)
        self.never = self.unresolved = 0.0
        self._waiting: dict[int, defaultdict[int, float]] = {}

    def put(self, arc: MarkovStep, moment: int, mass: float) -> None:
        """Add mass that has arrived over an arc at a moment."""
        if arc.events & self._answer:
            self.shares[moment] += mass
        elif arc.target not in self._able:
            self.never += mass
        else:
            self._waiting.setdefault(moment, defaultdict(float))[arc.target] += mass

    def run(self) -> None:
        """Continue until hardly any mass is left."""
        moves = 0
        while self._waiting and moves < MOST_MOVES:
            moment = min(self._waiting)
            here = self._waiting.pop(moment)
            for number, mass in here.items():
                if mass < LEAST / len(self._able):
                    self.unresolved += mass
                    continue
                moves += len(self._moves[number])
                for arc, share, units in self._moves[number]:
                    self.put(arc, moment + units, mass * share)
        self.unresolved += sum(sum(masses.values()) for masses in self._waiting.values())
