"""A scenario: the steps of a trace, described one by one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from modecheck.engine.reference.happenings import Passed
from modecheck.engine.reference.plain import Step
from modecheck.model.clocks import spelled
from modecheck.model.places import Place
from modecheck.product.ir import Label, Product
from modecheck.scenario.replay import Replayed
from modecheck.scenario.sentences import changes, sentence

STAYS = "then it can stay like this forever: no further step has to happen"
"""The last line of a scenario after which the device can stay in its last state forever."""


@dataclass(frozen=True, slots=True)
class ToldStep:
    """One step: its label, the sentence, which variables changed, and every chip's state after it.

    `states` is empty after a failing step, which leads nowhere. `place` is that of the rule taken,
    else of the link or the chip that the step is about; None where a step has no counterpart in the
    model. `again` marks the steps of a loop that can be repeated forever, at the end of a trace.

    `lasts` is how many seconds pass in the step, and `since` how many have passed since the start
    by its end; None where time is not counted. Where several steps are described as one, `until` is
    the number of the last.
    """

    number: int
    label: str
    text: str
    changes: tuple[str, ...]
    states: dict[str, str]
    place: Place | None = None
    again: bool = False
    lasts: Fraction = Fraction(0)
    since: Fraction | None = None
    until: int = 0

    @property
    def numbers(self) -> str:
        """The number of the step, or those of the first and the last, such as "4-23"."""
        return f"{self.number}-{self.until}" if self.until else str(self.number)

    @property
    def steps(self) -> int:
        """How many steps are described here."""
        return self.until - self.number + 1 if self.until else 1

    @property
    def time(self) -> str:
        """The time since the start as text; empty where time is not counted."""
        return "" if self.since is None else spelled_or_none(self.since)


def tell_steps(
    product: Product, steps: Iterable[Replayed], loop_from: int = 0
) -> Iterator[ToldStep]:
    """Steps in words; from the number `loop_from` on, they can be repeated forever."""
    since = None if product.time is None else Fraction(0)
    for number, one in enumerate(steps, start=1):
        told = _told(product, number, one, since, again=0 < loop_from <= number)
        since = told.since
        yield told


def condensed(told: Sequence[ToldStep], breaks: Iterable[int] = ()) -> list[ToldStep]:
    """These steps, with consecutive ones in which nothing but time passes described as one. A step
    with a number in `breaks` is not joined with those before it, nor is the first step of a loop.
    """
    begins = set(breaks)
    found: list[ToldStep] = []
    for step in told:
        last = found[-1] if found else None
        if last is not None and _goes_on(last, step) and step.number not in begins:
            lasts = last.lasts + step.lasts
            told_now = replace(step, number=last.number, until=step.number, lasts=lasts)
            found[-1] = replace(told_now, text=_passing(lasts))
        else:
            found.append(step)
    return [_with_the_time(step) if step.lasts else step for step in found]


def _goes_on(last: ToldStep, step: ToldStep) -> bool:
    return bool(last.lasts and step.lasts) and last.again == step.again


def _with_the_time(step: ToldStep) -> ToldStep:
    """Time that passes, with the time since the start where the two differ."""
    if step.since is None or step.since == step.lasts:
        return step
    return replace(step, text=f"{step.text}, {step.time} since the start")


def _passing(seconds: Fraction) -> str:
    text = spelled(seconds)
    return f"{text} {'passes' if text.startswith('1 ') else 'pass'}"


def spelled_or_none(seconds: Fraction) -> str:
    """A time as `spelled` writes it, and `0` for none."""
    return spelled(seconds) if seconds else "0"


def _told(
    product: Product, number: int, taken: Replayed, since: Fraction | None, *, again: bool
) -> ToldStep:
    """A step in words; `since` is the time before it."""
    step, after = taken.step, taken.step.after
    lasts = lasting(product, step)
    return ToldStep(
        number=number,
        label=product.labels[step.label].text,
        text=sentence(product, step),
        changes=() if after is None else changes(product, taken.before, after),
        states={} if after is None else _states(product, after),
        place=_place(product, product.labels[step.label]),
        again=again,
        lasts=lasts,
        since=None if since is None else since + lasts,
    )


def _place(product: Product, label: Label) -> Place | None:
    if label.rule >= 0:
        return product.rules[label.rule].place
    if label.queue >= 0:
        return product.device.links[product.queues[label.queue].name].place
    if label.chip >= 0:
        return product.device.chips[product.chips[label.chip].name].place
    return None


def lasting(product: Product, step: Step) -> Fraction:
    """How many seconds pass in a step."""
    clock = product.device.clock
    ticks = sum(one.ticks for one in step.happenings if isinstance(one, Passed))
    return Fraction(0) if clock is None else ticks * clock.tick


def _states(product: Product, state: tuple[int, ...]) -> dict[str, str]:
    return {chip.name: chip.leaves[state[chip.state_field]] for chip in product.chips}
