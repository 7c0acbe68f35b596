"""What comes out of a device in a step of a bench test: messages and signals that reach somebody
whom the test does not act on, such as a host, a lamp or a person.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from modecheck.engine.reference.happenings import Accepted, Arrived, Dropped, SignalEmitted, Took
from modecheck.engine.reference.plain import Step
from modecheck.model.parts import Device
from modecheck.product.ir import Product
from modecheck.scenario.sentences import message_text, signal_text


@dataclass(frozen=True, slots=True)
class _Reached:
    """A chip (its number) that receives or hears something; `passed_on` if it sends or signals
    something in the same step.
    """

    chip: int
    verb: str
    what: str
    passed_on: bool


class ComingOut:
    """Tells what reaches whom in one product."""

    def __init__(self, product: Product) -> None:
        self._product = product
        acted_on = chips_acted_on(product.device)
        self._outside = {
            number for number, chip in enumerate(product.chips) if chip.name not in acted_on
        }

    def received(self, run: Sequence[Step], *, nothing_else: bool) -> tuple[str, ...]:
        """What reaches actors and chips that the test never acts on; and what reaches chips that
        the first step, which somebody does, does not act on, unless they only pass it on. That is
        told too if there is `nothing_else` to see.
        """
        touched = {one.chip for step in run[:1] for one in step.happenings if isinstance(one, Took)}
        every = list(self._reached(run))
        found = [
            one
            for one in every
            if one.chip in self._outside or (one.chip not in touched and not one.passed_on)
        ]
        if not found and nothing_else:
            found = [one for one in every if one.chip not in touched]
        return self._told(found)

    def _told(self, found: Sequence[_Reached]) -> tuple[str, ...]:
        """A clause for each chip and manner, in the order in which they begin."""
        clauses: dict[tuple[int, str], list[str]] = {}
        for one in found:
            clauses.setdefault((one.chip, one.verb), []).append(one.what)
        return tuple(
            f"{self._product.chips[chip].name} {verb} {', '.join(dict.fromkeys(events))}"
            for (chip, verb), events in clauses.items()
        )

    def _reached(self, run: Sequence[Step]) -> Iterator[_Reached]:
        product = self._product
        for step in run:
            active = set(self._active(step))
            for one in step.happenings:
                if isinstance(one, Arrived):
                    chip = product.queues[one.queue].receiver
                    text = message_text(product, one.queue, one.message, one.value)
                    yield _Reached(chip, "receives", text, chip in active)
                elif isinstance(one, Took) and one.heard >= 0:
                    heard = signal_text(product, one.heard, one.value)
                    yield _Reached(one.chip, "hears", heard, one.chip in active)

    def _active(self, step: Step) -> Iterator[int]:
        """The chips that send or signal something in a step."""
        for one in step.happenings:
            if isinstance(one, SignalEmitted):
                yield one.chip
            elif isinstance(one, Accepted) or (isinstance(one, Dropped) and not one.queued):
                yield self._product.queues[one.queue].sender


def chips_acted_on(device: Device) -> frozenset[str]:
    """The chips that hear a signal of an actor, or that an actor can send to."""
    actors = [chip for chip in device.chips.values() if chip.actor]
    given = {signal for actor in actors for rule in actor.rules for signal in rule.signals}
    hearing = {
        chip.name
        for chip in device.chips.values()
        if any(event.name in given for rule in chip.rules for event in rule.trigger)
    }
    links = device.links.values()
    sent_to = {link.receiver for link in links if device.chips[link.sender].actor}
    return frozenset(hearing | sent_to) - {actor.name for actor in actors}
