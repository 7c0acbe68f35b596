"""How observers go on in a step: by the state that it leads to and by what happened in it."""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.engine.contract.encounters import Observed
from modecheck.engine.contract.space import State
from modecheck.engine.reference.event_bits import event_bits
from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Corrupted,
    Dropped,
    Happening,
    Passed,
    SignalEmitted,
    Took,
)
from modecheck.engine.reference.step_draft import Step, StepDraft
from modecheck.product.evaluation import Evaluator
from modecheck.product.ir import ObserverAutomaton, Product


class Observing:
    """The observers of one product, and the events that they and others ask for."""

    def __init__(self, product: Product, evaluator: Evaluator) -> None:
        self._observers = product.observers
        self._watches = bool(product.events)
        self._bits = event_bits(product.events)
        self._reported = (1 << len(product.watched_events)) - 1
        self._holds = evaluator.holds

    def go_on(self, draft: StepDraft, observed: Observed) -> int:
        """Every observer goes on; returns the bits of the events that the step reports."""
        events = self._events(draft) if self._watches else 0
        for number, observer in enumerate(self._observers):
            place = self._place(observer, draft.now, events)
            observed.watched.add((number, place))
            entered = draft.now[observer.field] = observer.table[place]
            if observer.count >= 0 and entered not in observer.counting:
                draft.now[observer.count] = 0
        return events & self._reported

    def choices(self, state: State) -> Iterator[Step]:
        """Steps of observers alone: nobody else goes on."""
        for observer in self._observers:
            for source, target, label in observer.choices:
                if state[observer.field] == source:
                    after = list(state)
                    after[observer.field] = target
                    yield Step(label, tuple(after), (), 0, 0, ())

    def _place(self, observer: ObserverAutomaton, now: list[int], events: int) -> int:
        """Where an observer looks in its table."""
        index = now[observer.field] << len(observer.atoms)
        for bit, atom in enumerate(observer.atoms):
            index |= self._holds(atom, now, events) << bit
        return index

    def _events(self, draft: StepDraft) -> int:
        """The bits of all events that happened in a step."""
        bits = 0
        for send, _ in draft.sends:
            bits |= self._bits.sent.get((send.queue, send.message), 0)
        for happening in draft.log:
            bits |= self._events_in(happening)
        return bits

    def _events_in(self, happening: Happening) -> int:
        bits = self._bits
        match happening:
            case Accepted(queue, message):
                return bits.accepted.get((queue, message), 0)
            case Dropped(queue, message) | Corrupted(queue, message):
                return bits.dropped.get((queue, message), 0)
            case Arrived(queue, message, _, late):
                late_bits = bits.late.get((queue, message), 0) if late else 0
                return bits.delivered.get((queue, message), 0) | late_bits
            case SignalEmitted(_, signal, _):
                return bits.signalled.get(signal, 0)
            case Took(_, rule):
                return bits.taken.get(rule, 0)
            case Passed():
                return bits.ticks
        return 0
