"""What the exploring commands share: reading variants, reporting notes and progress."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TextIO

from modecheck.engine.contract.phases import phase, watched_by
from modecheck.engine.search.exploration import Reporter
from modecheck.model.devices import read_device, variants
from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.parts import Device
from modecheck.report.progress import Progress
from modecheck.report.style import show, style_for


def told_variants_of(path: str, chosen: dict[str, str], *, every: bool) -> list[Device]:
    """The device in these variants, after reporting on standard error what its overlays add."""
    devices = variants_of(path, chosen, every=every)
    tell_notes(devices)
    return devices


def tell_notes(devices: Iterable[Device]) -> None:
    """Write each note on the devices to standard error once."""
    notes = dict.fromkeys(str(note) for device in devices for note in device.notes)
    style = style_for(sys.stderr)
    show([line for note in notes for line in style.wrapped(note, hanging="    ")], sys.stderr)


def variants_of(
    path: str, chosen: dict[str, str], *, every: bool, over: str | None = None
) -> list[Device]:
    """The device in the chosen variant, or in every variant that matches the choices; with the file
    `over` laid over it.

    Raises `InvalidInput` when the input is wrong or no variant matches.
    """
    first = read_device(path, chosen, over=over)
    if not every:
        return [first]
    agreeing = (
        choice
        for choice in variants(first)
        if all(choice[name] == value for name, value in chosen.items())
    )
    devices = [read_device(path, choice, over=over) for choice in agreeing]
    if not devices:
        raise InvalidInput([InputError("no combination of options matches the given choices")])
    return devices


@contextmanager
def reporter_for(stream: TextIO, what: str = "checking") -> Iterator[Reporter]:
    """A reporter that shows long work on this stream; `what` names the whole of it."""
    progress = Progress(stream)
    try:
        with phase(what), watched_by(progress):
            yield progress
    finally:
        progress.close()
