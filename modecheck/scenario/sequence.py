"""A scenario as a sequence: which chip does what, row by row, and how long each message waits.

This is what a sequence chart (ITU-T Z.120) draws; positions on the page are decided elsewhere.
Every row belongs to a step, and one thing happens in it. A message is a journey from the row in
which it is sent to the row in which it arrives or is lost.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Corrupted,
    Doubled,
    Dropped,
    Happening,
    SignalEmitted,
    Struck,
    Took,
)
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.model.clocks import spelled
from modecheck.model.links import CORRUPTED
from modecheck.model.parts import Rule
from modecheck.product.ir import Label, Product
from modecheck.scenario.replay import Replayed
from modecheck.scenario.sentences import beginnings, message_text, signal_text
from modecheck.scenario.telling import STAYS, lasting
from modecheck.scenario.traces import Trace

MOST_STEPS = 300
"""Steps in one chart, the last ones: with more a chart becomes several metres long."""

_GONE = {
    "lost": "lost",
    "full": "dropped: link full",
    "down": "dropped: link down",
    "cut": "dropped: restart",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that happens. `chip` and `other` are numbers of chips, `journey` is one of the
    sequence's journeys, or -1. `step` 0 stands before the first step.

    `kind` is "state" (the chip is now in `words`), "action", "timeout" (its timer ran out),
    "signal" (from `chip` to `other`), "send", "join" (a newer message joins one that waits),
    "double" (the link duplicates it), "corrupt" (the link corrupts it), "arrive", "gone",
    "waits" (at the end), "unsent" (lost as soon as it is sent), "mode" (the device is now in it;
    without words: in none), "fail" (the outcome), "time" (only time passes, up to the step
    `until`; the words say how much, and how much since the start), or "nothing".
    """

    step: int
    kind: str
    chip: int
    words: tuple[str, ...]
    other: int = -1
    journey: int = -1
    until: int = 0


@dataclass(frozen=True, slots=True)
class Journey:
    """A message in flight from row `first` to row `last`. Its `sender` is -1 where the chart begins
    later than it; `parent` is the journey that it duplicates.
    """

    queue: int
    sender: int
    receiver: int
    text: str
    first: int
    last: int
    parent: int = -1


@dataclass(frozen=True, slots=True)
class ScenarioSequence:
    """A scenario, taken apart. `chips` are those that something happens to, in the device's order.

    `sentences` describe the steps from `begin` + 1 on; steps after `loop_from` repeat forever.
    """

    product: Product
    chips: tuple[int, ...]
    rows: tuple[Row, ...]
    journeys: tuple[Journey, ...]
    sentences: tuple[str, ...]
    begin: int = 0
    loop_from: int | None = None


def sequence_of(
    trace: Trace, *, skipped: int = 0, chips: Iterable[str] = (), most: int = MOST_STEPS
) -> ScenarioSequence:
    """The sequence of a trace. Raises `ReplayError`.

    The first `skipped` steps are left out, and those after them are numbered from 1 on. Of a longer
    trace only the last `most` steps are included. `chips` are included even if nothing happens
    to them.
    """
    product, steps = trace.product, trace.steps
    state = steps[skipped].before if skipped < len(steps) else product.initial
    before = sum((lasting(product, one.step) for one in steps[:skipped]), Fraction(0))
    steps = steps[skipped:]
    loop_from = max(trace.loop_from - 1 - skipped, 0) if trace.loop_from else None
    spans = _spans(product, steps, loop_from)[-most:]
    begin = spans[0][0] if spans else 0
    if begin:
        state = steps[begin].before
    telling = _Telling(product, state)
    since = before + sum((lasting(product, one.step) for one in steps[:begin]), Fraction(0))
    for first, end in spans:
        lasts = sum((lasting(product, one.step) for one in steps[first:end]), Fraction(0))
        since += lasts
        if lasts:
            telling.time(first + 1, end, lasts, since, steps[end - 1])
        else:
            telling.step(first + 1, steps[first])
    telling.close(spans[-1][0] + 1 if spans else 0, stays=loop_from == len(steps))
    return ScenarioSequence(
        product=product,
        chips=telling.chips(chips),
        rows=tuple(telling.rows),
        journeys=tuple(telling.journeys),
        sentences=tuple(one.text for one in trace.told[skipped + begin :]),
        begin=begin,
        loop_from=None if loop_from == len(steps) else loop_from,
    )


def _spans(
    product: Product, steps: Sequence[Replayed], loop_from: int | None
) -> list[tuple[int, int]]:
    """Where each span begins and ends: one step, or several in which nothing but time passes.
    A loop begins with a span of its own.
    """
    spans: list[tuple[int, int]] = []
    passing = False
    for number, one in enumerate(steps):
        passes = bool(lasting(product, one.step))
        if passing and passes and number != loop_from:
            spans[-1] = (spans[-1][0], number + 1)
        else:
            spans.append((number, number + 1))
        passing = passes
    return spans


class _Telling:
    """Follows messages through their queues while it adds rows for steps."""

    def __init__(self, product: Product, state: State) -> None:
        self._product = product
        self._interpreter = Interpreter(product)
        self._start = state
        self._modes = self._modes_in(state)
        self.rows: list[Row] = []
        self.journeys: list[Journey] = []
        self._waiting: dict[int, list[int]] = defaultdict(list)
        self._corrupted: set[int] = set()
        self._signallers: dict[int, int] = {}
        self._heard: set[int] = set()
        self._failures: list[str] = []
        for number, queue in enumerate(product.queues):
            for slot in queue.slots:
                if state[slot.code]:
                    value = state[slot.value] if slot.value >= 0 else None
                    text = message_text(product, number, state[slot.code], value)
                    self._depart(number, text, -1)

    def chips(self, wanted: Iterable[str]) -> tuple[int, ...]:
        """Those that a row or a journey names, and those that are wanted."""
        names = set(wanted)
        named = {n for n, chip in enumerate(self._product.chips) if chip.name in names}
        named |= {row.chip for row in self.rows if row.step} | {row.other for row in self.rows}
        for journey in self.journeys:
            named |= {journey.sender, journey.receiver}
        return tuple(number for number in range(len(self._product.chips)) if number in named)

    def step(self, number: int, replayed: Replayed) -> None:
        before, step = replayed.before, replayed.step
        already = len(self.rows)
        self._signallers = {}
        self._heard = {one.heard for one in step.happenings if isinstance(one, Took)}
        for happening in step.happenings:
            self._tell(number, happening)
        if self._product.labels[step.label].kind == "start":
            for chip, words in beginnings(self._product, self._start):
                self._row(number, "action", chip, words)
        if step.after is not None:
            self._tell_changes(number, already, before, step.after)
            self._tell_modes(number, step.after)
        if step.failures:
            self._failures = [failure.text for failure in step.failures]  # Told below what waits.
        elif len(self.rows) == already:
            self._tell_nothing(number, self._product.labels[step.label])

    def time(self, first: int, last: int, lasts: Fraction, since: Fraction, end: Replayed) -> None:
        """Nothing but time passes, from one step to another; `since` is the time by its end."""
        words = [spelled(lasts), *([] if since == lasts else [spelled(since)])]
        self.rows.append(Row(first, "time", -1, tuple(words), until=last))
        if end.step.after is not None:
            self._tell_modes(first, end.step.after)

    def _tell_nothing(self, number: int, label: Label) -> None:
        """A step that changes nothing: the chip that took it, or its label."""
        if label.kind == "rule":
            self._row(number, "action", label.chip, "acts")
        else:
            self._row(number, "nothing", -1, label.text)

    def close(self, number: int, *, stays: bool) -> None:
        """What still waits, the outcome, and the state in which every chip started."""
        for journeys in list(self._waiting.values()):
            for journey in list(journeys):
                self._row(number, "waits", self.journeys[journey].receiver, journey=journey)
                self._arrive(journey)
        for failure in self._failures:
            self._row(number, "fail", -1, failure)
        if stays:
            self._row(number, "fail", -1, STAYS)
        starts = [
            Row(0, "state", number, (chip.leaves[self._start[chip.state_field]],))
            for number, chip in enumerate(self._product.chips)
        ]
        starts += [Row(0, "mode", -1, (name,)) for name in self._modes_in(self._start)]
        self.rows = [*starts, *self.rows]
        shift = len(starts)
        self.journeys = [
            replace(one, first=one.first + shift, last=one.last + shift) for one in self.journeys
        ]

    def _row(self, step: int, kind: str, chip: int, *words: str, **more: int) -> None:
        self.rows.append(Row(step, kind, chip, words, **more))

    def _depart(self, queue: int, text: str, sender: int, *, parent: int = -1) -> int:
        """A journey that begins in the row that comes next."""
        receiver, here = self._product.queues[queue].receiver, len(self.rows)
        self.journeys.append(Journey(queue, sender, receiver, text, here, here, parent))
        self._waiting[queue].append(len(self.journeys) - 1)
        return len(self.journeys) - 1

    def _arrive(self, journey: int) -> None:
        """The journey ends in the last row."""
        one = self.journeys[journey]
        self.journeys[journey] = replace(one, last=len(self.rows) - 1)
        self._waiting[one.queue].remove(journey)

    def _tell(self, step: int, happening: Happening) -> None:
        if isinstance(happening, Took):
            self._took(step, happening)
        elif isinstance(happening, SignalEmitted):
            self._signalled(step, happening)
        elif isinstance(happening, Arrived):
            self._arrived(step, happening)
        elif isinstance(happening, Accepted):
            self._accepted(step, happening)
        elif isinstance(happening, Dropped):
            self._dropped(step, happening)
        elif isinstance(happening, Doubled):
            self._doubled(step, happening)
        elif isinstance(happening, Corrupted):
            self._corrupts(step, self._which(happening))
        elif isinstance(happening, Struck):
            self._struck(step, happening)

    def _corrupts(self, step: int, journey: int) -> None:
        chip = self.journeys[journey].receiver
        self._row(step, "corrupt", chip, self._text(journey), journey=journey)
        self._corrupted.add(journey)

    def _doubled(self, step: int, doubled: Doubled) -> None:
        first = self._which(doubled)
        one, waiting = self.journeys[first], self._waiting[doubled.queue]
        double = self._depart(doubled.queue, one.text, one.sender, parent=first)
        if first in self._corrupted:
            self._corrupted.add(double)
        waiting.insert(waiting.index(first) + 1, waiting.pop())  # right behind the first
        self._row(step, "double", one.receiver, self._text(first), journey=double)

    def _which(self, happening: Arrived | Dropped | Doubled | Corrupted) -> int:
        """The journey of a message that waits: the head of its link. Where messages may overtake
        each other, the first of those that are alike.
        """
        number, waiting = happening.queue, self._waiting[happening.queue]
        if not self._product.queues[number].any_order:
            return waiting[0]
        text = message_text(self._product, number, happening.message, happening.value)
        return next(journey for journey in waiting if self._text(journey) == text)

    def _text(self, journey: int) -> str:
        """What the message of a journey is by now."""
        return CORRUPTED if journey in self._corrupted else self.journeys[journey].text

    def _took(self, step: int, took: Took) -> None:
        rule, chip = self._product.rules[took.rule], self._product.chips[took.chip]
        if took.heard >= 0:
            self._row(
                step,
                "signal",
                self._signallers[took.heard],
                signal_text(self._product, took.heard, took.value),
                other=took.chip,
            )
        if rule.after is not None:
            self._row(step, "timeout", took.chip, rule.after.text)
        elif rule.expires:
            self._row(step, "timeout", took.chip, rule.expires)
        moved = took.before != took.after
        doing = rule.phrase or _title_told(rule, said=moved or took.heard >= 0)
        if doing:
            self._row(step, "action", took.chip, doing)
        if moved:
            self._row(step, "state", took.chip, chip.leaves[took.after])

    def _signalled(self, step: int, signalled: SignalEmitted) -> None:
        self._signallers[signalled.signal] = signalled.chip
        if signalled.signal not in self._heard:
            said = signal_text(self._product, signalled.signal, signalled.value)
            words = f"signals {said}: no chip reacts"
            self._row(step, "action", signalled.chip, words)

    def _arrived(self, step: int, arrived: Arrived) -> None:
        queue = arrived.queue
        text = message_text(self._product, queue, arrived.message, arrived.value)
        words = [text, *(["late"] if arrived.late else [])]
        words += {"discarded": ["discarded"], "unspecified": ["not handled"]}.get(
            arrived.outcome, []
        )
        journey = self._which(arrived)
        receiver = self._product.queues[queue].receiver
        self._row(step, "arrive", receiver, *words, journey=journey)
        self._arrive(journey)

    def _accepted(self, step: int, accepted: Accepted) -> None:
        queue = self._product.queues[accepted.queue]
        text = message_text(self._product, accepted.queue, accepted.message, accepted.value)
        if not accepted.merged:
            journey = self._depart(accepted.queue, text, queue.sender)
            self._row(step, "send", queue.sender, text, journey=journey)
            return
        name = queue.messages[accepted.message - 1].name
        joined = next(
            one
            for one in reversed(self._waiting[accepted.queue])
            if self.journeys[one].text.partition("(")[0] == name
        )
        self._row(step, "join", queue.sender, text, journey=joined)

    def _dropped(self, step: int, dropped: Dropped) -> None:
        queue = self._product.queues[dropped.queue]
        text = message_text(self._product, dropped.queue, dropped.message, None)
        why = _GONE[dropped.why]
        if dropped.queued:
            journey = self._which(dropped)
            self._row(step, "gone", queue.receiver, text, why, journey=journey)
            self._arrive(journey)
            return
        self._row(step, "unsent", queue.sender, text, why, other=queue.receiver)

    def _struck(self, step: int, struck: Struck) -> None:
        chip = self._product.chips[struck.chip]
        words = ["loses power" if struck.kind == "power_cut" else "is reset"]
        if struck.rule >= 0:
            rule = self._product.rules[struck.rule]
            words.append(f"right after {rule.assignments[struck.done - 1].text}")
        self._row(step, "action", struck.chip, *words)
        self._row(step, "state", struck.chip, chip.leaves[struck.leaf])

    def _tell_changes(self, step: int, already: int, before: State, after: State) -> None:
        """Changed variables: in the chip's first action of the step, or in one of its own."""
        changed: dict[int, list[str]] = defaultdict(list)
        for field, old, new in zip(self._product.fields, before, after, strict=True):
            if old != new and field.type is not None and field.owner >= 0:
                name = field.name.partition(".")[2]
                spell = field.type.spell
                changed[field.owner].append(f"{name} {spell(old)} → {spell(new)}")
        for chip, words in changed.items():
            own = [
                number
                for number, row in enumerate(self.rows)
                if number >= already and row.chip == chip and row.kind == "action"
            ]
            if own:
                row = self.rows[own[0]]
                self.rows[own[0]] = replace(row, words=(*row.words, *words))
            else:
                self._row(step, "action", chip, *words)

    def _tell_modes(self, step: int, after: State) -> None:
        modes = self._modes_in(after)
        if modes != self._modes:
            for name in modes or (None,):
                self._row(step, "mode", -1, *([name] if name else []))
            self._modes = modes

    def _modes_in(self, state: State) -> tuple[str, ...]:
        conditions = self._product.conditions
        return tuple(
            name
            for name in self._product.device.modes
            if self._interpreter.condition(conditions[f"mode:{name}"], state)
        )


def _title_told(rule: Rule, *, said: bool) -> str:
    """A rule's name where nothing else describes what it does; an invented title is left out."""
    return "" if said or ":" in rule.title else rule.title
