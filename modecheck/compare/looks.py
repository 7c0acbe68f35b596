"""What an observer of two devices looks at: messages of a medium, marked rules, what was chosen.

A look holds what is visible in the old device and what is visible in the new one. The user chooses
by the names of the new device; those of the old one are found through the renaming.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import reduce
from operator import or_

from modecheck.compare.forms import PartName, Renaming
from modecheck.compare.part_concerns import concerns_of_link, own_concerns
from modecheck.compare.visible import Visible
from modecheck.model.copies import without_numbers
from modecheck.model.errors import InputError, InvalidInput, nearest_name
from modecheck.product.ir import Product


@dataclass(frozen=True, slots=True)
class Look:
    """`title` says what is seen; `concerns` are the concerns of a device that this look covers."""

    title: str
    old: Visible
    new: Visible
    concerns: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Devices:
    """Two products, and what the parts of the old one are called in the new one."""

    old: Product
    new: Product
    renaming: Renaming


def looks_at_media(devices: Devices) -> list[Look]:
    """A look for each medium of either device: all messages of its links."""
    links = [*devices.old.device.links.values(), *devices.new.device.links.values()]
    media: dict[str, set[str]] = {}
    for link in links:
        media.setdefault(link.medium, set()).update(concerns_of_link(link))
    return [
        Look(f"messages over {medium}", *_chosen(devices, {medium}), frozenset(concerns))
        for medium, concerns in media.items()
    ]


def looks_at_concerns(devices: Devices, covered: Iterable[str]) -> list[Look]:
    """A look for each concern of chips, states or rules that is not covered yet: which of the rules
    with this concern are taken.
    """
    old, new = (_marked(product) for product in (devices.old, devices.new))
    concerns = dict.fromkeys(concern for concern in (*old, *new) if concern not in set(covered))
    return [
        Look(
            f"rules that concern {concern}",
            _rules(old.get(concern)),
            _rules(new.get(concern)),
            frozenset({concern}),
        )
        for concern in concerns
    ]


def _rules(numbers: list[int] | None) -> Visible:
    return Visible(rules=frozenset(numbers or ()))


def _marked(product: Product) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for number, rule in enumerate(product.rules):
        for concern in sorted(own_concerns(product.device.chips[rule.chip], rule)):
            found.setdefault(concern, []).append(number)
    return found


def chosen_look(devices: Devices, text: str) -> Look:
    """A look at what the user chose, separated by commas: media, links, messages and LINK.MESSAGE;
    signals; and CHIP.RULE, or a chip for all its rules. The common name of copies stands for all.

    Raises `InvalidInput` for a word that is none of these in either device.
    """
    words = [word.strip() for word in text.split(",") if word.strip()]
    known = {
        word
        for product, called in ((devices.new, {}), (devices.old, devices.renaming))
        for _, names in _choosable(product, called)
        for word in names
    }
    for word in words or [text]:
        if word not in known:
            message = f"{word!r} is nothing that can be seen of either device"
            expected = "a message, LINK.MESSAGE, a link, a medium, a signal, CHIP.RULE or a chip"
            raise InvalidInput([InputError(message, None, expected, nearest_name(word, known))])
    return Look(", ".join(words), *_chosen(devices, set(words)))


def _chosen(devices: Devices, words: set[str]) -> tuple[Visible, Visible]:
    old, new = (
        reduce(or_, (one for one, names in _choosable(product, called) if words & names), Visible())
        for product, called in ((devices.old, devices.renaming), (devices.new, {}))
    )
    return old, new


def _choosable(product: Product, called: Renaming) -> Iterator[tuple[Visible, set[str]]]:
    """Everything that can be seen, with all words by which it can be chosen."""
    for seen, names in (*_messages(product, called), *_signals_and_rules(product, called)):
        yield seen, {*names, *(without_numbers(name) for name in names)}


def _called(called: Renaming, part: PartName) -> str:
    return called.get(part, part).name


def _messages(product: Product, called: Renaming) -> Iterator[tuple[Visible, set[str]]]:
    for number, queue in enumerate(product.queues):
        link = _called(called, PartName("link", queue.name))
        medium = product.device.links[queue.name].medium
        for code, form in enumerate(queue.messages, start=1):
            name = _called(called, PartName("message", form.name, queue.name))
            yield Visible(frozenset({(number, code)})), {medium, link, name, f"{link}.{name}"}


def _signals_and_rules(product: Product, called: Renaming) -> Iterator[tuple[Visible, set[str]]]:
    for number, signal in enumerate(product.signals):
        yield Visible(signals=frozenset({number})), {_called(called, PartName("signal", signal))}
    for number, rule in enumerate(product.rules):
        chip = _called(called, PartName("chip", rule.chip))
        title = _called(called, PartName("rule", rule.title, rule.chip))
        yield Visible(rules=frozenset({number})), {chip, f"{chip}.{title}"}
