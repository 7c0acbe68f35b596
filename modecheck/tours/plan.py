"""A bench test as data: sequences of steps, each with what to do and what to see."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from modecheck.product.ir import Product
from modecheck.scenario.replay import Move


@dataclass(frozen=True, slots=True)
class See:
    """What a person sees when a step is over: the modes that the device is in, and what changed,
    such as "receiver on_air → on_cable", with all intermediate states. `received` is what comes
    out: "laptop receives report(true)", "player hears beep". `states` and `values` are complete.
    """

    modes: tuple[str, ...]
    changed: tuple[str, ...]
    states: dict[str, str]
    values: dict[str, str]
    received: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BenchStep:
    """One step of a test. `kind` is start (power on), act (a person does something), wait (for a
    timer), fault (a person provokes a fault), or itself (nothing to do but watch).

    `happens` are sentences about what the device then does by itself. `early` says that the device
    had not settled before. `may_also` are other states that it may settle in, as differences from
    `see`; `go_on` has for each the number of the step after which to continue then, or None: start
    the sequence over (empty if `may_also` says so itself). `may_fail` are errors of the model that
    a race may lead to. `takes` are the rules taken, as "chip.rule", `waits` the times of timers
    that expire meanwhile. `moves` are the evidence: they can be replayed.
    """

    kind: str
    do: str
    happens: tuple[str, ...]
    see: See
    moves: tuple[Move, ...]
    takes: tuple[str, ...]
    waits: tuple[str, ...] = ()
    early: bool = False
    may_also: tuple[str, ...] = ()
    go_on: tuple[int | None, ...] = ()
    may_fail: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StepSequence:
    """Steps from power-on; the first is the start itself, and has the number `first`."""

    steps: tuple[BenchStep, ...]
    first: int = 0

    @property
    def moves(self) -> tuple[Move, ...]:
        """The same steps as moves from the initial state, for replay."""
        return tuple(move for step in self.steps for move in step.moves)

    @property
    def length(self) -> int:
        """How many steps there are after the start."""
        return len(self.steps) - 1


@dataclass(frozen=True, slots=True)
class BenchTest:
    """Sequences that together take everything of one kind. `goal` is actions, rules, or timing, for
    rules that need timing or a fault.

    `facts` are sentences with figures: what the test was made from. `cost` counts its actions (with
    goal timing: its atomic steps) and one for each new start. No such test costs less than `bound`,
    and `shortest` says that none costs less than this one. `left_out` says what is not covered,
    and why; `stopped_by`, which bound was hit. `sitting` is the number of steps that a longer walk
    was cut into, which makes it cost more.
    """

    product: Product
    goal: str
    facts: tuple[str, ...]
    sequences: tuple[StepSequence, ...]
    cost: int
    bound: int
    shortest: bool
    left_out: tuple[str, ...] = ()
    stopped_by: str = ""
    sitting: int | None = None

    @property
    def steps(self) -> int:
        """Steps in all sequences together."""
        return sum(sequence.length for sequence in self.sequences)

    @property
    def new_starts(self) -> int:
        """How often the device has to be restarted."""
        return max(len(self.sequences) - 1, 0)

    @property
    def complete(self) -> bool:
        return not self.stopped_by


def is_complete(tests: Iterable[BenchTest]) -> bool:
    """Whether no bound was hit, and there is something to do at all."""
    known = list(tests)
    return all(test.complete for test in known) and any(test.sequences for test in known)
