"""Declarations that nothing uses: leftovers, or a sign of a missing rule."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from modecheck.model.copies import unnumbered
from modecheck.model.links import CORRUPTED
from modecheck.model.parts import Device
from modecheck.model.places import Place
from modecheck.model.remarks import Unused
from modecheck.model.terms import Happens, parts_of

Parameters = Mapping[str, tuple[Mapping[str, str], Mapping[str, Place]]]


def unused_declarations(
    device: Device, words: set[str], parameters: Parameters, lists: Mapping[str, Place]
) -> tuple[Unused, ...]:
    """Everything declared and used nowhere, each place once.

    `words` holds every word of every expression and name that was read; `parameters` the values and
    the places of each chip's parameters, `lists` those of the device's lists.
    """
    found = [
        *_options(device, words),
        *_lists(words, lists),
        *_parameters(words, parameters),
        *_variables(device, words),
        *_timers(device),
        *_constants(device, words),
        *_links(device),
        *_signals(device),
    ]
    return tuple({unused.place: unused for unused in found}.values())


def _options(device: Device, words: set[str]) -> Iterator[Unused]:
    for option in device.options.values():
        if option.name not in words:
            yield Unused(
                f"option.{option.name}", f"no rule uses the option {option.name}", option.place
            )


def _lists(words: set[str], lists: Mapping[str, Place]) -> Iterator[Unused]:
    for name, place in lists.items():
        if name not in words:
            yield Unused(f"list.{name}", f"nothing counts over the list {name}", place)


def _parameters(words: set[str], parameters: Parameters) -> Iterator[Unused]:
    for chip, (values, places) in parameters.items():
        for name in values:
            if name not in words and name in places:
                yield Unused(
                    f"{chip}.{name}", f"{chip} never uses the parameter {name}", places[name]
                )


def _variables(device: Device, words: set[str]) -> Iterator[Unused]:
    for chip in device.chips.values():
        for variable in chip.variables.values():
            if variable.name not in words:
                text = f"nothing reads or writes the variable {variable.name} of {chip.name}"
                yield Unused(f"{chip.name}.{variable.name}", text, variable.place)


def _constants(device: Device, words: set[str]) -> Iterator[Unused]:
    for constant in device.shared.constants.values():
        if constant.name not in words:
            text = f"nothing uses the constant {constant.name}"
            yield Unused(f"constant.{constant.name}", text, constant.place)
    for chip in device.chips.values():
        for constant in chip.constants.values():
            if constant.name not in words:
                text = f"{chip.name} never uses the constant {constant.name}"
                yield Unused(f"{chip.name}.{constant.name}", text, constant.place)


def _timers(device: Device) -> Iterator[Unused]:
    for chip in device.chips.values():
        started = {name for rule in chip.rules for name in rule.starts}
        awaited = {rule.expires for rule in chip.rules}
        for timer in chip.timers.values():
            does = "starts" if timer.name not in started else "waits for"
            if timer.name not in started & awaited:
                text = f"no rule of {chip.name} {does} the timer {timer.name}"
                yield Unused(f"{chip.name}.{timer.name}", text, timer.place)


def _links(device: Device) -> Iterator[Unused]:
    sent = {
        (send.link, send.message)
        for chip in device.chips.values()
        for rule in chip.rules
        for send in rule.sends
    }
    for link in device.links.values():
        if not any(name == link.name for name, _ in sent):
            text = f"no rule of {link.sender} sends over the link {link.name}"
            yield Unused(link.name, text, link.place)
            continue
        for message in link.carries.values():
            if (link.name, message.name) not in sent and message.name != CORRUPTED:
                text = f"no rule of {link.sender} sends {message.name} over {link.name}"
                yield Unused(f"{link.name}.{message.name}", text, message.place)


def _signals(device: Device) -> Iterator[Unused]:
    heard = {
        event.name
        for chip in device.chips.values()
        for rule in chip.rules
        for event in rule.trigger
    }
    heard |= {r.event.name for c in device.chips.values() for rs in c.replies.values() for r in rs}
    heard |= {name for pairing in device.pairings.values() for name in pairing.forgotten_by}
    heard |= {name for need in device.requirements.values() for name in need.without}
    heard |= {
        part.name
        for need in device.requirements.values()
        for term in need.terms
        for part in parts_of(term)
        if isinstance(part, Happens) and part.kind == "signalled"
    }
    given = {unnumbered(signal) for signal in device.signals}
    for declared in device.shared.signals.values():
        if declared.name not in given:
            text = f"no rule gives the signal {declared.name}"
            yield Unused(f"signal.{declared.name}", text, declared.place)
    for chip in device.chips.values():
        for rule in chip.rules:
            for signal in rule.signals:
                if signal not in heard:
                    yield Unused(
                        f"signal.{signal}", f"no chip reacts to the signal {signal}", rule.place
                    )
