"""A walk through a product, step by step, that can be undone, saved, and replayed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.model.errors import ModecheckError
from modecheck.product.ir import Product
from modecheck.scenario.replay import Replayed
from modecheck.scenario.sentences import sentence
from modecheck.scenario.telling import ToldStep, tell_steps
from modecheck.scenario.traces import Trace


class NotAllowed(ModecheckError):
    """A saved walk cannot be replayed: `position` (from 1) is its first step that is not possible,
    `labels` are those that are.
    """

    def __init__(self, position: int, label: str, labels: tuple[str, ...]) -> None:
        super().__init__()
        self.position = position
        self.label = label
        self.labels = labels

    def __str__(self) -> str:
        return f"the model does not allow step {self.position}, {self.label!r}"


class ManualWalk:
    """Begins in the initial state; if there are several, in the first, and all are among its
    choices. After a failing step the only move is back.
    """

    def __init__(self, product: Product) -> None:
        self.product = product
        self._interpreter = Interpreter(product)
        self._taken: list[Replayed] = []

    def __len__(self) -> int:
        return len(self._taken)

    @property
    def state(self) -> State:
        """The current state; after a failing step, the one in which it was tried."""
        if not self._taken:
            return self.product.initial
        last = self._taken[-1]
        return last.before if last.step.after is None else last.step.after

    @property
    def failed(self) -> bool:
        """Whether the last step failed."""
        return bool(self._taken) and self._taken[-1].step.after is None

    @property
    def last(self) -> Replayed | None:
        """The step taken last."""
        return self._taken[-1] if self._taken else None

    @property
    def labels(self) -> tuple[str, ...]:
        """The names of the steps taken: with them the walk can be replayed."""
        anew, found = ManualWalk(self.product), []
        for taken in self._taken:
            label, after = taken.step.label, taken.step.after
            named = anew.named_choices().items()
            found.append(next(n for n, one in named if (one.label, one.after) == (label, after)))
            anew.take(taken.step)
        return tuple(found)

    def named_choices(self) -> dict[str, Step]:
        """The choices by their labels; those of one label are numbered from the second on. The name
        of a start tells how the device starts.
        """
        found: dict[str, Step] = {}
        times = Counter[str]()
        for step in self.choices():
            label = self.product.labels[step.label]
            name = sentence(self.product, step) if label.kind == "start" else label.text
            times[name] += 1
            found[f"{name} #{times[name]}" if times[name] > 1 else name] = step
        return found

    @property
    def modes(self) -> tuple[str, ...]:
        """The modes that the device is in."""
        conditions, holds = self.product.conditions, self._interpreter.condition
        modes = self.product.device.modes
        return tuple(name for name in modes if holds(conditions[f"mode:{name}"], self.state))

    def choices(self) -> list[Step]:
        """The possible steps, in the interpreter's order; failing ones, too. At the beginning, the
        starts follow.
        """
        if self.failed:
            return []
        starts = [] if self._taken else self._interpreter.starts()
        return [*self._interpreter.steps(self.state), *starts]

    def take(self, step: Step) -> None:
        """Take one of the choices."""
        begins = step.after if step.label == self.product.start_label else None
        self._taken.append(Replayed(begins or self.state, step))

    def back(self, count: int = 1) -> int:
        """Undo up to so many steps; returns how many were undone."""
        kept = max(len(self._taken) - count, 0)
        gone = len(self._taken) - kept
        del self._taken[kept:]
        return gone

    def told(self) -> list[ToldStep]:
        """The walk in words."""
        return list(tell_steps(self.product, self._taken))

    @property
    def time(self) -> str:
        """The time since the start, in words; empty without a clock."""
        return self.told()[-1].time if self._taken else ""

    def follow_trace(self, trace: Trace) -> None:
        """Replace this walk by a scenario's trace. Raises `ReplayError`, without any change."""
        self._taken = list(trace.steps)

    def follow_labels(self, labels: Sequence[str]) -> None:
        """Replace this walk by the one with these labels. Raises `NotAllowed` if the model has no
        such step, without any change.
        """
        anew = ManualWalk(self.product)
        for position, label in enumerate(labels, start=1):
            steps = anew.named_choices()
            if label not in steps:
                raise NotAllowed(position, label, tuple(steps))
            anew.take(steps[label])
        self._taken = anew._taken
