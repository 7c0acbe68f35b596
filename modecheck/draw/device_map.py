"""The map of a device: its chips and actors, and everything that connects them.

One more map for each mode shows which links carry traffic in it, and which pairings hold.
"""

from __future__ import annotations

from collections.abc import Iterator

from modecheck.checks.traffic import ModeTraffic, Traffic
from modecheck.draw.sketch import (
    Arrow,
    Box,
    End,
    LegendEntry,
    Run,
    Sketch,
    SketchTable,
    TextBlock,
    TextLine,
    diagram_frame,
)
from modecheck.draw.typesetting import text_lines
from modecheck.model.links import CORRUPTED, LINK_FAULTS
from modecheck.model.parts import MEDIA, Chip, Device, Link
from modecheck.model.wording import listed

DEVICE_FRAME = "/device"
"""The key of the frame around everything; no chip can have this name."""

LONGEST_LINE = 30
"""Characters of a line in a box or label: narrow, since links to a hub stand side by side."""

LONGEST_ABOUT = 90
"""Characters shown of a chip's description: three lines; its title holds all of it."""

_MEANINGS = {
    "internal": "internal link",
    "cable": "link by cable",
    "radio": "link by radio",
    "bluetooth": "link by Bluetooth",
    "other": "link by another medium",
}


def device_map(device: Device) -> Sketch:
    """The picture of a device's chips, actors, links, pairings and signals."""
    order = _reading_order(device)
    arrows = (*_links(device, order), *_pairings(device, order), *_signals(device, order))
    boxes = tuple(_chip_box(chip) for chip in device.chips.values())
    about = TextBlock(text_lines(device.about, "note", 2 * LONGEST_LINE))
    title = f"device {device.name}"
    return Sketch(
        name="device",
        title=f"Chips and links of {device.name}",
        boxes=boxes,
        arrows=arrows,
        frames=(diagram_frame(DEVICE_FRAME, title, (about,), title),),
        samples=tuple(_samples(boxes, arrows)),
        tables=tuple(_tables(device)),
    )


def device_map_in(device: Device, mode: str, traffic: Traffic) -> Sketch:
    """The same for one mode: links without traffic are thin and dotted, and labelled so.

    Signals are left out: they are heard in every mode in which they are given. So are the device's
    name and the number of states: if nothing else differs, the picture is the same.
    """
    order, found = _reading_order(device), traffic.modes[mode]
    arrows = (
        *(_link_in(link, found, order) for link in device.links.values()),
        *_pairings(device, order, found),
    )
    linked = {end.box for arrow in arrows for end in (*arrow.tails, *arrow.heads)}
    apart = [name for name in device.chips if name not in linked]
    seen = "every state" if traffic.complete else "the explored states (not all)"
    about = [
        device.modes[mode].text,
        f"what the links carry in {seen} of this mode; signals are omitted",
        *([f"without a link: {', '.join(apart)}"] if apart else []),
    ]
    boxes = tuple(_chip_box(device.chips[name]) for name in device.chips if name in linked)
    title = f"links in mode {mode}"
    words = tuple(TextBlock(text_lines(part, "note", 2 * LONGEST_LINE)) for part in about)
    return Sketch(
        name=f"device-in-{mode}",
        title=f"Links with traffic in mode {mode}",
        boxes=boxes,
        arrows=arrows,
        frames=(diagram_frame(DEVICE_FRAME, title, words, title),),
        samples=tuple(_samples(boxes, arrows)),
        tables=tuple(_tables(device)),
    )


def _link_in(link: Link, found: ModeTraffic, order: dict[str, int]) -> Arrow:
    """A link that carries something is drawn as in the map of the device, another one thin."""
    lines = [TextLine((Run(link.name, "trigger"),))]
    hint = f"link {link.name}: {link.sender} to {link.receiver}"
    stroke = stroke_of(link)
    if link.name in found.links:
        lines += text_lines(f"{link.medium}, carries {_carried(link)}", "guard", LONGEST_LINE)
    else:
        lines += text_lines(f"{link.medium}, no traffic", "note", LONGEST_LINE)
        stroke, hint = "idle", f"{hint}, no traffic"
    key = f"link-{link.name}"
    label = Box(f"{key}/label", "label", DEVICE_FRAME, (TextBlock(tuple(lines)),))
    return _arrow(key, (link.sender,), (link.receiver,), label, stroke, order, hint)


def _reading_order(device: Device) -> dict[str, int]:
    """Who only gives signals first, then document order."""
    ends = {end for link in device.links.values() for end in (link.sender, link.receiver)}
    names = sorted(device.chips, key=lambda name: name in ends or not device.chips[name].actor)
    return {name: position for position, name in enumerate(names)}


def _chip_box(chip: Chip) -> Box:
    name = TextBlock((TextLine((Run(chip.name, "name"),)),), centred=True)
    notes = text_lines(first_sentence(chip.about), "note", LONGEST_LINE)
    if chip.runs_on:
        place = f"on {chip.runs_on}, priority {chip.priority}"
        notes = (*text_lines(place, "note", LONGEST_LINE), *notes)
    about = TextBlock(tuple(notes), centred=True)
    kind = "actor" if chip.actor else "chip"
    hint = f"{kind} {chip.name}: {chip.about}" if chip.about else f"{kind} {chip.name}"
    return Box(chip.name, kind, DEVICE_FRAME, (name, about) if about.lines else (name,), hint=hint)


def first_sentence(text: str) -> str:
    """The first sentence of a text, or as many of its words as LONGEST_ABOUT allows."""
    sentence = " ".join(text.split()).split(". ")[0].removesuffix(".")
    if len(sentence) <= LONGEST_ABOUT:
        return sentence
    return f"{sentence[: LONGEST_ABOUT + 1].rpartition(' ')[0].rstrip(' ,;:')} …"


def _links(device: Device, order: dict[str, int]) -> Iterator[Arrow]:
    troubles = {(group.kind, name) for group in device.faults for name in group.targets}
    for link in device.links.values():
        stroke = stroke_of(link)
        hint = f"link {link.name}: {link.sender} to {link.receiver}"
        label = Box(
            f"link-{link.name}/label", "label", DEVICE_FRAME, (_link_block(link, troubles),)
        )
        ends = (link.sender,), (link.receiver,)
        yield _arrow(f"link-{link.name}", *ends, label, stroke, order, hint)


def stroke_of(link: Link) -> str:
    """The kind of line that a link is drawn with; any other medium shares one."""
    return link.medium if link.medium in MEDIA else "other"


def _link_block(link: Link, troubles: set[tuple[str, str]]) -> TextBlock:
    lines = [TextLine((Run(link.name, "trigger"),))]
    lines += text_lines(f"{link.medium}, capacity {link.capacity}", "guard", LONGEST_LINE)
    lines += text_lines(f"carries {_carried(link)}", "effect", LONGEST_LINE)
    faults = [one for one in LINK_FAULTS if one in link.faults or (one, link.name) in troubles]
    if faults:
        lines += text_lines(f"can {listed(faults)}", "effect", LONGEST_LINE)
    if link.order != "sent":
        lines += text_lines("messages may overtake each other", "effect", LONGEST_LINE)
    if link.up_text:
        lines += text_lines(f"up when {link.up_text}", "effect", LONGEST_LINE)
    if link.when_down != "drop":
        lines += text_lines(f"when down: {link.when_down}", "effect", LONGEST_LINE)
    if link.when_full != "error":
        lines += text_lines(f"when full: {link.when_full}", "effect", LONGEST_LINE)
    return TextBlock(tuple(lines))


def _carried(link: Link) -> str:
    return ", ".join(
        message.name if message.type is None else f"{message.name}(value)"
        for message in link.carries.values()
        if not link.corrupts or message.name != CORRUPTED
    )


def _pairings(
    device: Device, order: dict[str, int], found: ModeTraffic | None = None
) -> Iterator[Arrow]:
    """Who pairs with whom; with what was found in a mode, whether both hold one key there."""
    for pairing in device.pairings.values():
        first, second = pairing.ends
        held = f"{first} = {second}" if found is None else _held(found, pairing.name)
        lines = (
            TextLine((Run(pairing.name, "trigger"),)),
            *text_lines(held, "effect", LONGEST_LINE),
        )
        key = f"pairing-{pairing.name}"
        label = Box(f"{key}/label", "label", DEVICE_FRAME, (TextBlock(lines),))
        hint = f"pairing {pairing.name}: {first} and {second}"
        ends = sorted((first.chip, second.chip), key=lambda name: order[name])
        yield _arrow(key, (ends[0],), (ends[1],), label, "pairing", order, hint, tip="none")


def _held(found: ModeTraffic, pairing: str) -> str:
    agreed = found.agreed[pairing]
    if not agreed:
        return "the ends never hold the same key"
    often = "always" if agreed == found.states else "do not always"
    return f"the ends {often} hold the same key"


def _signals(device: Device, order: dict[str, int]) -> Iterator[Arrow]:
    """An arrow for each set of signals: who gives the same ones to the same chips shares it."""
    hearers: dict[tuple[str, str, str], list[str]] = {}
    for signaller in device.chips.values():
        signalled = dict.fromkeys(signal for rule in signaller.rules for signal in rule.signals)
        for hearer in device.chips.values():
            heard = ", ".join(signal for signal in signalled if _hears(hearer, signal))
            if heard and hearer is not signaller:
                course = _course(signaller.name, hearer.name, order)
                hearers.setdefault((signaller.name, heard, course), []).append(hearer.name)
    signallers: dict[tuple[tuple[str, ...], str, str], list[str]] = {}
    for (name, heard, course), names in hearers.items():
        signallers.setdefault((tuple(names), heard, course), []).append(name)
    for (heads, heard, _), tails in signallers.items():
        key = f"signal-{tails[0]}-{heads[0]}"
        lines = text_lines(heard, "guard", LONGEST_LINE)
        label = Box(f"{key}/label", "label", DEVICE_FRAME, (TextBlock(lines),))
        hint = f"signals from {', '.join(tails)} to {', '.join(heads)}"
        yield _arrow(key, tuple(tails), heads, label, "signal", order, hint, tip="open")


def _hears(chip: Chip, signal: str) -> bool:
    return any(
        event.name == signal and event.link is None for rule in chip.rules for event in rule.trigger
    )


def _arrow(
    key: str,
    tails: tuple[str, ...],
    heads: tuple[str, ...],
    label: Box,
    stroke: str,
    order: dict[str, int],
    hint: str,
    *,
    tip: str = "arrow",
) -> Arrow:
    course = _course(tails[0], heads[0], order)
    ends = tuple(map(End, tails)), tuple(map(End, heads))
    return Arrow(key, *ends, label, stroke, tip, course, hint)


def _course(tail: str, head: str, order: dict[str, int]) -> str:
    return "up" if order[head] < order[tail] else "down"


def _samples(boxes: tuple[Box, ...], arrows: tuple[Arrow, ...]) -> Iterator[LegendEntry]:
    kinds = {box.shape for box in boxes}
    if "chip" in kinds:
        yield LegendEntry("box", "chip", "chip")
    if "actor" in kinds:
        yield LegendEntry("box", "actor", "actor: may act, but never has to")
    strokes = {arrow.stroke for arrow in arrows}
    for stroke, meaning in _MEANINGS.items():
        if stroke in strokes:
            yield LegendEntry("line", stroke, meaning)
    if "idle" in strokes:
        yield LegendEntry("line", "idle", "link without traffic in this mode")
    if "pairing" in strokes:
        yield LegendEntry("line", "pairing", "pairing: both ends keep the same key")
    if "signal" in strokes:
        yield LegendEntry("line", "signal", "signal: heard in the same step")


def _tables(device: Device) -> Iterator[SketchTable]:
    rows = [(f"{name} = {choice}",) for name, choice in device.variant.items()]
    if rows:
        yield SketchTable("variant", tuple(rows))
