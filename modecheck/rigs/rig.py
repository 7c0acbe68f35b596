"""A rig: the running machines of a device, with all steps that are possible, for simulators and
test rigs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from modecheck.engine.evaluation import StepFailed
from modecheck.engine.happenings import Happening
from modecheck.model.errors import ModecheckError, nearest_name
from modecheck.model.parts import Device
from modecheck.product.composition import compose
from modecheck.product.ir import Failure, FaultIR, Product
from modecheck.rigs.chip_machine import RigTurn
from modecheck.rigs.wiring import Wiring

Cut = tuple[FaultIR, int, int]
"""A fault, the rule (number) that it interrupts, and how many of its assignments are done."""


class ImpossibleStep(ModecheckError):
    """The requested step is not possible now."""

    def __init__(self, label: str, possible: Sequence[str]) -> None:
        super().__init__()
        self.label = label
        self.possible = tuple(possible)

    def __str__(self) -> str:
        nearest = nearest_name(self.label, self.possible)
        hint = f"; did you mean {nearest!r}?" if nearest else ""
        possible = ", ".join(repr(label) for label in self.possible) or "nothing"
        return f"{self.label!r} is not possible now: expected one of {possible}{hint}"


@dataclass(frozen=True, slots=True)
class RigStep:
    """A step that is possible, by the label that the product gives it.

    `failures` say what is wrong with a step that must not happen, `happenings` what happens in it,
    in order. One of `own` (a chip's number and the event for its machine), `link` (a number) and
    `fault` triggers it; without any of them, time passes.
    """

    label: str
    failures: tuple[Failure, ...] = ()
    happenings: tuple[Happening, ...] = ()
    own: tuple[int, str] | None = None
    link: int | None = None
    fault: FaultIR | None = None
    cut: Cut | None = None


class Rig:
    """Machines by the names of their chips, links by theirs; it begins in the initial state.

    `machines["hub"].machine` is the library's own: callbacks and diagrams can be added to it. Which
    steps are possible is tried on a second set of machines, so your callbacks run only in steps
    that are taken.
    """

    def __init__(self, product: Product) -> None:
        self.product = product
        self._wiring = Wiring(product)
        self._trials = Wiring(product)
        self.machines = {chip.name: chip for chip in self._wiring.chips}
        self.links = {link.name: link for link in self._wiring.queues}

    @property
    def state(self) -> tuple[int, ...]:
        """The state of the product that the rig is in."""
        return self._wiring.state

    @property
    def states(self) -> dict[str, str]:
        """The innermost state of each chip."""
        return {name: chip.leaf for name, chip in self.machines.items()}

    def put(self, state: Sequence[int]) -> None:
        """Set everything to a state of the product, without any effect."""
        self._wiring.put(state)

    def steps(self) -> list[RigStep]:
        """Every step that is possible now, failing ones included: own rules of chips in the order
        of the file, deliveries, faults, a tick of the clock.
        """
        self._trials.put(self.state)
        others = [*self._own_steps(), *self._deliveries(), *self._strokes()]
        return [*others, *self._tick(others)]

    def take(self, step: RigStep | str) -> tuple[Happening, ...]:
        """Take a step, or the first one with that label; returns what happened in it.

        Raises `ImpossibleStep`, and `StepFailed` for a step that must not happen; the rig is then
        unchanged.
        """
        possible = self.steps()
        found = next((one for one in possible if step in (one, one.label)), None)
        if found is None:
            label = step if isinstance(step, str) else step.label
            raise ImpossibleStep(label, [one.label for one in possible])
        if found.failures:
            raise StepFailed(*found.failures)
        turn = RigTurn(self.state, cut=found.cut)
        _begin(self._wiring, found, turn)
        self._wiring.finish(turn)
        return tuple(turn.log)

    def signal(self, name: str) -> tuple[Happening, ...]:
        """Give a signal of the device from outside; returns what happened. Raises `StepFailed`."""
        signals = self.product.signals
        if name not in signals:
            raise ImpossibleStep(name, signals)
        self._trials.put(self.state)
        for wiring in (self._trials, self._wiring):  # what must not happen fails in the first
            turn = RigTurn(self.state, signalled=[(signals.index(name), -1)])
            wiring.finish(turn)
        return tuple(turn.log)

    def _own_steps(self) -> Iterator[RigStep]:
        for chip in self._trials.chips:
            for rule, event in list(chip.own_rules()):
                step = RigStep(f"{chip.name} {rule.title}", own=(chip.number, event))
                try:
                    enabled = chip.may(event, RigTurn(self.state))
                except StepFailed as failed:
                    yield replace(step, failures=failed.failures)
                    continue
                if enabled:
                    yield from self._with_cuts(step)

    def _deliveries(self) -> Iterator[RigStep]:
        for link in self._trials.queues:
            if link.ripe and self._trials.is_up(link):
                yield from self._with_cuts(RigStep(link.name, link=link.number))

    def _strokes(self) -> Iterator[RigStep]:
        for fault in self.product.faults:
            if self._trials.possible(fault):
                label = self.product.labels[fault.label].text
                yield from self._with_cuts(RigStep(label, fault=fault))

    def _tick(self, others: Sequence[RigStep]) -> Iterator[RigStep]:
        time = self.product.time
        if time is None:
            return
        first = {self.product.labels[number].text for number in time.at_once}
        if any(step.label in first or self._is_overdue(step) for step in others):
            return
        tried = self._tried(RigStep(self.product.labels[time.label].text), RigTurn(self.state))
        yield from [tried] if tried is not None else []

    def _is_overdue(self, step: RigStep) -> bool:
        return step.link is not None and self._trials.queues[step.link].overdue

    def _with_cuts(self, step: RigStep) -> Iterator[RigStep]:
        """The step with what comes of it, and its variants cut in the middle of a rule."""
        turn = RigTurn(self.state)
        tried = self._tried(step, turn)
        if tried is None:
            return
        yield tried
        for cut in self._possible_cuts(turn):
            again = RigTurn(self.state, cut=cut)
            variant = self._tried(replace(step, cut=cut), again)
            # What fails before the cut strikes has failed without it already.
            if variant is not None and (not variant.failures or again.struck >= 0):
                fault, rule, done = cut
                label = self.product.labels[fault.cut_labels[rule, done]].text
                yield replace(variant, label=label)

    def _tried(self, step: RigStep, turn: RigTurn) -> RigStep | None:
        """What would come of a step; nothing where its message is deferred."""
        failures: tuple[Failure, ...] = ()
        goes = True
        try:
            goes = _begin(self._trials, step, turn)
            self._trials.finish(turn)
        except StepFailed as failed:
            failures = failed.failures
        self._trials.put(self.state)
        label = step.label if step.link is None else self._delivered_label(step.link, turn)
        found = replace(step, label=label, failures=failures, happenings=tuple(turn.log))
        return found if goes else None

    def _delivered_label(self, number: int, turn: RigTurn) -> str:
        link = self.product.queues[number]
        receiver = self.product.chips[link.receiver].name
        if not turn.chosen:
            return f"{link.name} to {receiver}, discarded"
        return f"{link.name} to {receiver} {self.product.rules[turn.chosen[0].rule].title}"

    def _possible_cuts(self, turn: RigTurn) -> list[Cut]:
        torn = {reaction.rule: (chip, reaction) for chip, reaction in turn.separate}
        return [
            (fault, reaction.rule, done)
            for chip, reaction in torn.values()
            for fault in self.product.faults
            if fault.of_chip and fault.target == chip and self._trials.affordable(fault)
            for done in reaction.cuts
        ]


def _begin(wiring: Wiring, step: RigStep, turn: RigTurn) -> bool:
    """What sets a step off; whether anything does."""
    if step.own is not None:
        chip, event = step.own
        return wiring.chips[chip].tell(event, turn)
    if step.link is not None:
        return wiring.deliver(wiring.queues[step.link], turn)
    if step.fault is not None:
        wiring.strike(step.fault, turn)
        return True
    assert wiring.product.time is not None
    return wiring.tick(wiring.product.time, turn)


def machines(device: Device) -> Rig:
    """Each chip and actor of a device as a machine of the library `transitions`, all connected."""
    return Rig(compose(device))
