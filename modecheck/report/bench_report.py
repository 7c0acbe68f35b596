"""Bench tests as a checklist for people: what to do, and what to see."""

from __future__ import annotations

from collections.abc import Iterator
from collections.abc import Sequence as Several

from modecheck.model.wording import counted, listed
from modecheck.report.check_report import remarks
from modecheck.report.document_tree import Block, Chapter, Fragment, Item, Paragraph
from modecheck.tours.chip_words import ChipWords
from modecheck.tours.own_machine import WhyNot
from modecheck.tours.plan import BenchStep, BenchTest, StepSequence

GOALS = {
    "actions": "every action, waiting each time until nothing more happens",
    "rules": "rules, waiting each time until nothing more happens",
    "timing": "rules that need exact timing or a fault",
}
BOX = "[ ]"
MOST_OTHERS = 3
"""Other outcomes listed for a step; the JSON has all of them."""
RESTART = "restart this sequence"
NOTHING_CHANGES = "nothing changes"


def tests_report(device: str, tests: Several[BenchTest]) -> list[Block]:
    """The checklist, one section for each test."""
    return [
        Chapter(
            f"{device}: {GOALS[test.goal]}",
            (*remarks(summary(test)), *_sequences(test)),
            tone="",
        )
        for test in tests
    ]


def _sequences(test: BenchTest) -> Iterator[Chapter]:
    for number, sequence in enumerate(test.sequences, start=1):
        yield Chapter(title_of(number, len(test.sequences)), tuple(_steps(sequence, test)))


def title_of(number: int, count: int) -> str:
    """The heading of a sequence."""
    again = "" if number == 1 else ", from a restart"
    return f"sequence {number} of {count}{again}" if count > 1 else "the sequence"


def summary(test: BenchTest) -> list[str]:
    """What the test was made from, how long it is, and what it does not do."""
    lines = list(test.facts)
    if test.sequences:
        lines.append(_length(test))
    lines += [f"left out: {text}" for text in test.left_out]
    if test.stopped_by:
        lines.append(f"incomplete: stopped by {test.stopped_by}")
    return lines


def _length(test: BenchTest) -> str:
    length, unit = counted(test.steps, "step"), "step"
    if test.goal == "timing":
        unit = "step of the product"
        length = f"{counted(test.steps, 'action')} in {_of_unit(test.cost - test.new_starts, unit)}"
    if test.new_starts:
        length += f" and {counted(test.new_starts, 'restart')}"
    if test.sitting is not None:
        length += (
            f", split into sequences of at most about {test.sitting} steps, each from power on; "
            f"a single sequence would take {counted(test.bound, 'step')}"
        )
        return length
    if test.shortest:
        return f"{length}: no shorter test exists"
    if test.stopped_by:
        return f"{length} for what was explored"
    return (
        f"{length}: found by a heuristic, at most {_beyond(test)} longer than the shortest; every "
        f"such test has at least {_of_unit(test.bound, unit)}"
    )


def _of_unit(count: int, unit: str) -> str:
    return f"{count:,} {unit if count == 1 else unit.replace('step', 'steps', 1)}"


def _beyond(test: BenchTest) -> str:
    return f"{100 * (test.cost - test.bound) / max(test.bound, 1):.0f} %"


def _steps(sequence: StepSequence, test: BenchTest) -> Iterator[Item]:
    width = len(str(sequence.first + len(sequence.steps) - 1))
    for number, step in enumerate(sequence.steps, start=sequence.first):
        notes = tuple(to_see(step, in_full=test.goal == "timing"))
        yield Item(Fragment(to_do(step)), f"{BOX} {number:>{width}}.", notes)


def to_do(step: BenchStep) -> str:
    """What to do, and when."""
    if step.early:
        return f"immediately, before anything else happens: {step.do}"
    return step.do


def to_see(step: BenchStep, *, in_full: bool) -> list[str]:
    """What to see after a step; `in_full` adds all that happens without the tester."""
    lines = [f"then {text}" for text in step.happens] if in_full else []
    waits = f", after waiting {listed(step.waits)}" if step.waits else ""
    seen = [*step.see.changed, *step.see.received]
    lines.append(f"see{waits}: {'; '.join(seen) or NOTHING_CHANGES}")
    lines += [f"may also lead to: {text}" for text in _others(step)[:MOST_OTHERS]]
    if len(step.may_also) > MOST_OTHERS:
        lines.append(f"may also lead to {len(step.may_also) - MOST_OTHERS:,} other states")
    lines += [f"can fail in the model: {text}" for text in step.may_fail]
    return lines


def _others(step: BenchStep) -> list[str]:
    """Other outcomes, and how the test continues after each."""
    if not step.go_on:
        return list(step.may_also)
    return [
        f"{told}: then {RESTART if place is None else f'continue after step {place}'}"
        for told, place in zip(step.may_also, step.go_on, strict=True)
    ]


def words_report(device: str, chips: Several[ChipWords | WhyNot]) -> list[Block]:
    """The test words for each chip, or why there are none."""
    return [
        Chapter(
            f"{device}: words that distinguish the states of {chip.chip}",
            (
                tuple(_why_not(chip))
                if isinstance(chip, WhyNot)
                else (*remarks(words_summary(chip)), *_words(chip))
            ),
            tone="",
        )
        for chip in chips
    ]


def _why_not(chip: WhyNot) -> Iterator[Block]:
    text = "none, because the chip by itself is not deterministic, or is too large:"
    yield Paragraph(text, hang=0)
    yield from map(Item, chip.reasons)


def words_summary(chip: ChipWords) -> list[str]:
    """What the words are, and what they guarantee."""
    alike = [states for states in chip.states if len(states) > 1]
    exchanges = sum(len(word) for word in chip.words)
    telling = " | ".join(", ".join(word) for word in chip.telling)
    states, inputs = counted(len(chip.states), "state"), counted(len(chip.inputs), "input")
    words = counted(len(chip.words), "word")
    more = f"at most {counted(chip.extra, 'state')} more" if chip.extra else "no more states"
    return [
        f"{states} that can be distinguished, {inputs}",
        *(f"no input distinguishes: {' | '.join(states)}" for states in alike),
        *([f"distinguished by: {telling}"] if telling else []),
        f"{words} with {counted(exchanges, 'input')} in total, each from a reset: a chip that has "
        f"{more} than the model and gives all these answers behaves like the model",
    ]


def _words(chip: ChipWords) -> Iterator[Chapter]:
    width = max(len(given) for given in chip.inputs)
    for number, word in enumerate(chip.words, start=1):
        items = (
            Item(f"answers {one.answer}", f"{BOX} {one.told:<{width}} ", indent=2) for one in word
        )
        yield Chapter(f"word {number}", tuple(items))
