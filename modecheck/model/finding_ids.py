"""Check the ids of findings, `code:subject`, against the parts of a device.

An id that names an unknown part is a typing error, not a finding that has been fixed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from modecheck.model.errors import Notebook
from modecheck.model.finding_kinds import KINDS
from modecheck.model.parts import Chip, Device
from modecheck.model.places import Place

BETWEEN = {"no-mode-switch": "->"}
"""The separator between the parts of a subject; by default a plus sign."""


@dataclass(frozen=True, slots=True)
class _Wrong:
    """The unknown word, the error message, and the names that it could be."""

    word: str
    message: str
    choices: Collection[str]


def note_unknown_findings(device: Device, notes: Notebook) -> None:
    """Note each acceptance and each expectation of a finding that the device cannot have.

    A part that an overlay has removed may still occur in an acceptance of the file beneath.
    """
    named = [(one.finding, one.named_at) for one in device.accepted]
    named += [(one.finding, one.named_at) for one in device.expected]
    for finding, place in named:
        wrong = _wrong_in(finding, device)
        if wrong is not None and wrong.word not in notes.removed and place is not None:
            notes.add(
                f"{wrong.message} in {finding!r}",
                _within(place, wrong.word),
                word=wrong.word,
                choices=wrong.choices,
            )


def _within(place: Place, word: str) -> Place:
    """The place of the word in a text that begins at `place`."""
    offset = place.text.find(word, place.column - 1) - (place.column - 1)
    return place.part(offset, len(word)) if offset >= 0 else place


def _wrong_in(finding: str, device: Device) -> _Wrong | None:
    code, _, subject = finding.partition(":")
    if code not in KINDS:
        return _Wrong(code, f"no finding has the code {code!r}", KINDS)
    for part in subject.split(BETWEEN.get(code, "+")):
        tries = [_fitting(form.split("."), part, device) for form in KINDS[code].subject]
        wrong = [one for one in tries if one is not None]
        if tries and len(wrong) == len(tries):
            # The form that matches further is the one that was meant.
            return max(wrong, key=lambda one: part.find(one.word))
    return None


def _fitting(form: list[str], part: str, device: Device) -> _Wrong | None:
    """What is wrong with a part of a subject, read as a chip with a state or the like."""
    words = part.split(".", len(form) - 1)
    for number, (kind, word, known) in enumerate(_named(form, words, device)):
        if word not in known:
            owner = words[number - 1] if number else "the device"
            return _Wrong(word, f"{owner} has no {kind} {word!r}", known)
    if len(words) < len(form):
        return _Wrong(part, f"{part!r} is not {'.'.join(form)}", ())
    return None


def _named(
    form: list[str], words: list[str], device: Device
) -> Iterator[tuple[str, str, Collection[str]]]:
    """For each word what it names, and the names that there are, as far as the words before fit."""
    parts: dict[str, Collection[str]] = {
        "chip": device.chips,
        "link": device.links,
        "pairing": device.pairings,
        "mode": device.modes,
        "requirement": device.requirements,
    }
    first = parts[form[0]]
    yield form[0], words[0], first
    if len(words) > 1 and words[0] in first:
        if form[0] == "link":
            yield form[1], words[1], device.links[words[0]].carries
        else:
            yield from _in_chip(form[1:], words[1:], device.chips[words[0]], device)


def _in_chip(
    form: list[str], words: list[str], chip: Chip, device: Device
) -> Iterator[tuple[str, str, Collection[str]]]:
    known: Collection[str] = {
        "state": chip.states,
        "rule": [rule.title for rule in chip.rules],
        "variable": chip.variables,
        "signal": {signal for rule in chip.rules for signal in rule.signals},
    }[form[0]]
    yield form[0], words[0], known
    if len(form) > 1 and len(words) > 1:
        links = [link for link in device.links.values() if link.receiver == chip.name]
        yield form[1], words[1], [message for link in links for message in link.carries]
