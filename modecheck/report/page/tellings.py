"""One step as the page holds it: its sentence, and the marks that it leaves in a sequence chart.

A telling is plain data that becomes JSON unchanged. Many transitions of a product read alike, and
the page holds each telling once. A mark is a list that begins with its kind:

| mark | meaning |
| --- | --- |
| `["took", rule, before, after, heard]` | a rule was taken, from leaf to leaf, for a signal or -1 |
| `["signalled", chip, signal, heard]` | a signal; `heard` lists the chips that moved for it |
| `["sent", queue, text]` | a message was put into a link |
| `["joined", queue, code, text]` | it was merged into one of its kind that already waited there |
| `["unsent", queue, text, why]` | it was sent and never queued |
| `["arrived", queue, text, outcome]` | the head of a link reached its chip |
| `["gone", queue, why]` | the head of a link is lost |
| `["doubled", queue]` | a copy stands behind the head of a link |
| `["struck", chip, words]` | a chip lost power or was reset |
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias

from modecheck.draw.shown import shown
from modecheck.engine.reference.happenings import (
    Accepted,
    Arrived,
    Doubled,
    Dropped,
    Happening,
    Passed,
    SignalEmitted,
    Struck,
    Took,
)
from modecheck.engine.reference.plain import Step
from modecheck.product.ir import Product
from modecheck.scenario.sentences import sentence

LONGEST_SENTENCE = 1200
LONGEST_WORD = 200
"""Characters shown of a telling: names may be of any length."""

Mark: TypeAlias = tuple[object, ...]
Telling: TypeAlias = tuple[str, str, int, int, str, tuple[Mark, ...], str]
"""Kind of the step, its label, the link and the chip whose step it is (or -1), its sentence, its
marks, and why it fails (or nothing)."""

WHY_GONE = {"lost": "lost", "full": "link full", "down": "link down", "cut": "power cut"}


def telling(product: Product, step: Step) -> Telling:
    """What the page holds of a step; equal for steps that read alike."""
    label = product.labels[step.label]
    return (
        label.kind,
        shown(label.text, LONGEST_WORD),
        label.queue,
        label.chip,
        shown(sentence(product, step), LONGEST_SENTENCE),
        tuple(_marks(product, step.happenings)),
        shown(step.wrong, LONGEST_SENTENCE),
    )


def _marks(product: Product, happenings: tuple[Happening, ...]) -> Iterator[Mark]:
    hearers: dict[int, list[int]] = {}
    for happening in happenings:
        if isinstance(happening, Took) and happening.heard >= 0:
            hearers.setdefault(happening.heard, []).append(happening.chip)
    for happening in happenings:
        if isinstance(happening, SignalEmitted):
            chips = tuple(hearers.get(happening.signal, ()))
            yield ("signalled", happening.chip, happening.signal, chips)
        elif isinstance(happening, Dropped):
            yield _dropped(product, happening)
        elif not isinstance(happening, Passed):  # time leaves no mark
            yield _mark(product, happening)


def _mark(product: Product, happening: Happening) -> Mark:
    match happening:
        case Took(_, rule, before, after, heard):
            return ("took", rule, before, after, heard)
        case Accepted(queue, code, value, merged):
            text = message_text(product, queue, code, value)
            return ("joined", queue, code, text) if merged else ("sent", queue, text)
        case Arrived(queue, code, value, late, outcome):
            text = message_text(product, queue, code, value)
            return ("arrived", queue, f"{text} (late)" if late else text, outcome)
        case Doubled(queue, _):
            return ("doubled", queue)
        case Struck(chip, kind, rule, done):
            return ("struck", chip, _struck(product, kind, rule, done))
    raise AssertionError(happening)


def _struck(product: Product, kind: str, rule: int, done: int) -> str:
    words = "loses power" if kind == "power_cut" else "is reset"
    if rule < 0:
        return words
    after = product.rules[rule].assignments[done - 1].text
    return shown(f"{words} right after {after}", LONGEST_WORD)


def _dropped(product: Product, dropped: Dropped) -> Mark:
    why = WHY_GONE[dropped.why]
    if dropped.queued:
        return ("gone", dropped.queue, why)
    return ("unsent", dropped.queue, message_text(product, *dropped[:2], None), why)


def message_text(product: Product, queue: int, code: int, value: int | None) -> str:
    """A message with its value, if it carries one that is known."""
    message = product.queues[queue].messages[code - 1]
    if value is None or message.type is None:
        return shown(message.name, LONGEST_WORD)
    return shown(f"{message.name}({message.type.spell(value)})", LONGEST_WORD)
