"""All figures of a device in one variant, each with a label and a unit, and their assumptions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from modecheck.chances.chain import MOST_STATES, Chain, chain_of
from modecheck.chances.currents import draws, silent_states
from modecheck.chances.decisions import DecisionProcess, decisions_of
from modecheck.chances.interval_iteration import Bounds
from modecheck.chances.latency import latency
from modecheck.chances.long_run import Class, recurrent_classes
from modecheck.chances.reaching import reached
from modecheck.chances.solving import Number
from modecheck.model.claims import Chance
from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.parts import Device
from modecheck.model.starts import need_one_start
from modecheck.product.asking import AskedEvents
from modecheck.product.composition import compose_for_chances


@dataclass(frozen=True, slots=True)
class Figure:
    """`unit` is chance, times, steps, s, A or h. `value` is None if it is undefined. With `bounds`
    the value lies between them.
    """

    label: str
    value: Number | None
    unit: str
    bounds: Bounds | None = None


@dataclass(frozen=True, slots=True)
class Figures:
    """`figures` is empty if the chain is not complete. `residual` is the largest error of any
    equation solved in floating point; `exact` says that there was none. `classes` is how many
    recurrent classes there are, 0 if no figure needs them, None if there are too many for averages.
    `bounded` is False if there are too many states for bounds: any choice may lead to states that
    the chain lacks.
    """

    device: Device
    figures: tuple[Figure, ...]
    states: int
    complete: bool
    exact: bool
    residual: float
    assumed: int
    races: int
    left_out: tuple[str, ...]
    silent: tuple[str, ...]
    classes: int | None
    bounded: bool = True


def figures_of(device: Device, most_states: int = MOST_STATES, *, bounds: bool = False) -> Figures:
    """The answers to all questions of the device, and the currents of its chips. Raises
    `InvalidInput` for a device whose chances are not defined. Of several starts none is likelier
    than another, so the least and the greatest figure of all of them are told.

    With `bounds`, also the least and the greatest chance of all ways to choose where a weight is
    missing.
    """
    _note_unordered(device)
    if _needs_long_run(device):
        need_one_start(device, "no mean over all time is known of that")
    asked = compose_for_chances(device)
    chain = chain_of(asked.product, most_states)
    found_classes = recurrent_classes(chain) if chain.complete and _needs_long_run(device) else []
    classes = found_classes or []
    process = decisions_of(asked.product, most_states) if bounds and chain.complete else None
    teller = _Teller(asked, chain, classes, process)
    found = tuple(teller.figures()) if chain.complete else ()
    return Figures(
        device,
        found,
        len(chain.states),
        chain.complete,
        teller.exact and all(one.exact for one in classes),
        max([teller.residual, *(one.residual for one in classes)]),
        chain.assumed,
        chain.races,
        chain.left_out,
        silent_states(chain),
        len(classes) if found_classes is not None else None,
        process is None or process.complete,
    )


def _note_unordered(device: Device) -> None:
    """Raises `InvalidInput` where nothing says how likely it is that a message is overtaken."""
    unordered = [link for link in device.links.values() if link.order == "any"]
    if unordered:
        text = "no chances are known of messages that may overtake each other"
        expected = "'order: sent' in every link"
        raise InvalidInput([InputError(text, link.place, expected) for link in unordered])


def _needs_long_run(device: Device) -> bool:
    """Whether anything is told that is a mean over all time."""
    states = (state for chip in device.chips.values() for state in chip.states.values())
    latencies = (chance.kind == "latency" for chance in device.chances.values())
    return any(state.current is not None for state in states) or any(latencies)


class _Teller:
    def __init__(
        self,
        asked: AskedEvents,
        chain: Chain,
        classes: list[Class],
        process: DecisionProcess | None,
    ) -> None:
        self._asked = asked
        self._process = process
        self._chain = chain
        self._classes = classes
        self.exact, self.residual = True, 0.0

    def figures(self) -> Iterator[Figure]:
        for chance in self._asked.product.device.chances.values():
            yield from self._latency(chance) if chance.kind == "latency" else self._end(chance)
        for draw in draws(self._chain, self._classes):
            where = f"{draw.chip}{' in ' if draw.mode else ''}{draw.mode}"
            yield Figure(f"{where}: mean current", draw.amperes, "A")
            if self._asked.product.device.chips[draw.chip].battery is not None:
                yield Figure(f"{where}: battery lasts", draw.hours, "h")

    def _end(self, chance: Chance) -> Iterator[Figure]:
        event = 0 if chance.event is None else self._asked.bits[chance.event]
        found = reached(self._chain, self._chain.holds(f"until:{chance.name}"), event)
        self.exact = self.exact and found.exact
        self.residual = max(self.residual, found.residual)
        starts = found.starts
        if chance.kind == "count":
            yield from _of_all(f"{chance.name}: mean count", [s.events for s in starts], "times")
            return
        yield from _of_all(f"{chance.name}: chance", [start.chance for start in starts], "chance")
        yield from self._extremes(chance)
        if all(start.certain for start in starts):
            yield from _of_all(f"{chance.name}: mean steps", [s.steps for s in starts], "steps")
            if self._chain.timed:
                yield from _of_all(f"{chance.name}: mean time", [s.seconds for s in starts], "s")

    def _extremes(self, chance: Chance) -> Iterator[Figure]:
        """None if there are too many states, of which there can be more than in the chain."""
        if self._process is None or not self._process.complete:
            return
        extremes = self._process.bounds(f"until:{chance.name}")
        for word, found in zip(("least", "greatest"), extremes, strict=True):
            middle = (found.low + found.high) / 2
            yield Figure(f"{chance.name}: {word} chance", middle, "chance", found)

    def _latency(self, chance: Chance) -> Iterator[Figure]:
        assert chance.event is not None
        assert chance.answer is not None
        bits = self._asked.bits
        found = latency(self._chain, self._classes, bits[chance.event], bits[chance.answer])
        unit = "s" if self._chain.timed else "steps"
        scale = 1.0 if found is None or found.unit is None else float(found.unit)

        def scaled(value: float | None) -> float | None:
            return None if value is None else value * scale

        since = "" if found is None or found.usual else " (first)"
        name = f"{chance.name}{since}"
        yield Figure(f"{name}: median", scaled(found.percentile(0.5)) if found else None, unit)
        yield Figure(
            f"{name}: 99 % within", scaled(found.percentile(0.99)) if found else None, unit
        )
        yield Figure(f"{name}: mean", scaled(found.mean) if found else None, unit)
        if chance.within is not None:
            late = found.later_than(chance.within) if found else None
            yield Figure(f"{name}: too late", late, "chance")
        yield Figure(f"{name}: never", found.never if found else None, "chance")
        if found is not None and found.unresolved > 1e-9:
            yield Figure(f"{name}: not followed", found.unresolved, "chance")


def _of_all(label: str, values: Sequence[Number | None], unit: str) -> Iterator[Figure]:
    """The figure of all starts: two, where they differ; none, where one of them has none."""
    known = [value for value in values if value is not None]
    if len(known) < len(values):
        yield Figure(label, None, unit)
    elif min(known) == max(known):
        yield Figure(label, known[0], unit)
    else:
        yield Figure(f"{label}, least of all starts", min(known), unit)
        yield Figure(f"{label}, most of all starts", max(known), unit)
