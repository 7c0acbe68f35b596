"""One atomic step, and a step under construction."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import NamedTuple

from modecheck.engine.contract.space import State
from modecheck.engine.reference.happenings import Happening
from modecheck.product.evaluation import StepFailed
from modecheck.product.expression_ir import Failure
from modecheck.product.ir import FaultIR, Reaction, SendIR


class Hearing(NamedTuple):
    """A signal was heard: each chip but the one that gave it (-1: from outside) was judged on the
    fields `seen` and, if the signal carries one, on its `value`. Other chips may have moved since
    the step began, and move again after it.
    """

    signal: int
    signaller: int
    seen: State
    value: int = 0


class Raised(NamedTuple):
    """A signal that waits to be heard: who gave it (-1: from outside), and its value, or 0."""

    signal: int
    signaller: int
    value: int = 0


class Step(NamedTuple):
    """One atomic step. `after` is None when it fails, and `failures` then says all that failed, in
    the order in which it did. `moved` has a bit for each chip that took a rule, `events` one for
    each watched event that happened. `sent` is all that rules sent, with its value, whatever became
    of it.
    """

    label: int
    after: State | None
    failures: tuple[Failure, ...]
    moved: int
    events: int
    happenings: tuple[Happening, ...]
    sent: tuple[tuple[SendIR, int], ...] = ()
    hearings: tuple[Hearing, ...] = ()

    @property
    def wrong(self) -> str:
        """What is wrong with a failing step, in words; nothing with any other."""
        return "; ".join(failure.text for failure in self.failures)


class Cut(NamedTuple):
    """A fault that strikes in the middle of a rule (number), after so many of its assignments."""

    fault: FaultIR
    rule: int
    done: int


@dataclass(slots=True)
class StepDraft:
    """A step under construction: the fields `now`, what of it is still to come, and what happened.

    `payload` and `late` are those of the message that is delivered, then those of the signal that
    is heard. What was `signalled` waits to be heard; `sends` wait for the end of the step.
    `separate` are the chips that took a rule whose writes are separate; `struck` is the chip that a
    `cut` has struck, or -1.
    """

    now: list[int]
    payload: int = 0
    late: int = 0
    moved: int = 0
    sends: list[tuple[SendIR, int]] = field(default_factory=list)
    signalled: list[Raised] = field(default_factory=list)
    separate: list[tuple[int, Reaction]] = field(default_factory=list)
    cut: Cut | None = None
    struck: int = -1
    log: list[Happening] = field(default_factory=list)
    hearings: list[Hearing] = field(default_factory=list)
    failures: dict[Failure, None] = field(default_factory=dict)

    def again(self, cut: Cut | None = None) -> StepDraft:
        """A draft that begins as this one has begun so far."""
        return StepDraft(list(self.now), self.payload, self.late, cut=cut, log=list(self.log))

    @contextmanager
    def part(self) -> Iterator[None]:
        """What goes on at once with other parts: where it fails, they are gone through, too."""
        try:
            yield
        except StepFailed as failed:
            self.failures |= dict.fromkeys(failed.failures)

    def done(self, label: int, events: int) -> Step:
        """The step that this has become, if nothing has failed."""
        now, log, sent = tuple(self.now), tuple(self.log), tuple(self.sends)
        return Step(label, now, (), self.moved, events, log, sent, tuple(self.hearings))

    def failed(self, label: int) -> Step:
        """The failing step that this has become."""
        return failing(label, self.failures, self.log)


def failing(label: int, failures: Iterable[Failure], log: Iterable[Happening] = ()) -> Step:
    """A failing step, which leads nowhere."""
    return Step(label, None, tuple(failures), 0, 0, tuple(log))
