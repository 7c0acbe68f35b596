"""Read a device's clock, and check every duration of the device against its tick."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import gcd, lcm

from modecheck.model.errors import Notebook
from modecheck.model.keys import keys_of
from modecheck.model.parts import Device
from modecheck.model.phrases import SECONDS, Phrases
from modecheck.model.places import Place
from modecheck.model.shapes import Shapes
from modecheck.model.times import Clock, Duration
from modecheck.model.yaml_nodes import Node

AT_ONCE = ("chips", "links")
MOST_TICKS = 1_000_000_000
"""The most ticks in one duration; they fit into a field of a state with room to spare."""


def read_clock(shapes: Shapes, phrases: Phrases, node: Node | None) -> Clock | None:
    """The clock of a device file; None if it has none, or after noting an error."""
    if node is None:
        return None
    record = shapes.record(node, "the clock", keys_of("clock"), required=("tick",))
    if record is None:
        return None
    scalar = shapes.scalar(record.entries["tick"], "a tick", "a duration such as 1 ms")
    tick = phrases.duration(scalar) if scalar is not None else None
    words = shapes.scalars(record.get("at_once"), "a word", " or ".join(AT_ONCE))
    known = (shapes.known(word, "kind of part", AT_ONCE) for word in words)
    at_once = frozenset(word for word in known if word)
    if tick is None or scalar is None:
        return None
    if not tick:
        shapes.notes.add("a tick of zero length", scalar.place, expected="more than 0")
        return None
    return Clock(tick, at_once, scalar.place)


def note_odd_durations(device: Device, notes: Notebook) -> None:
    """Note each duration that is no multiple of the tick, with the largest tick that would fit."""
    clock = device.clock
    if clock is None:
        for need in device.requirements.values():
            if need.within is not None:
                expected = "a 'clock' in the device, or no 'within'"
                notes.add("'within' needs a clock", need.within.places[0], expected=expected)
        return
    moments = {
        moment
        for duration in durations(device)
        for moment in zip(duration.moments, duration.places, strict=False)
    }
    noted: set[Place] = set()
    for seconds, place in sorted(moments, key=lambda moment: str(moment[1])):
        if place in noted:
            continue  # another instance of the same file
        if (seconds / clock.tick).denominator != 1:
            noted.add(place)
            message = f"not a multiple of the tick, {spelled(clock.tick)}"
            largest = common_measure(one for one, _ in moments)
            notes.add(message, place, expected=f"a tick of {spelled(largest)}, or another duration")
        elif seconds / clock.tick > MOST_TICKS:
            noted.add(place)
            message = f"longer than {MOST_TICKS:,} ticks"
            notes.add(message, place, expected="a longer tick, or a shorter duration")


def durations(device: Device) -> Iterator[Duration]:
    """Every duration in a device."""
    for chip in device.chips.values():
        yield from (rule.after for rule in chip.rules if rule.after is not None)
        yield from (timer.duration for timer in chip.timers.values())
    yield from (link.delay for link in device.links.values() if link.delay is not None)
    yield from (need.within for need in device.requirements.values() if need.within is not None)


def common_measure(times: Iterator[Fraction]) -> Fraction:
    """The largest time of which all these are multiples; 0 for none but 0."""
    result = Fraction(0)
    for time in times:
        denominator = lcm(result.denominator, time.denominator)
        numerators = (int(result * denominator), int(time * denominator))
        result = Fraction(gcd(*numerators), denominator)
    return result


def spelled(seconds: Fraction) -> str:
    """A time in the largest unit of which it is a multiple: `1500 us`, `20 ms`, `2 h`."""
    for unit in ("h", "min", "s", "ms", "us"):
        count = seconds / SECONDS[unit]
        if count.denominator == 1 and count:
            return f"{count.numerator} {unit}"
    return f"{float(seconds / SECONDS['us']):g} us"
