"""`modecheck new`: a small device of the user's own, to start from."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from typing import TypeVar

import click

from modecheck.cli.exit_codes import exit_codes

FOLDER = re.compile(r"[^\W\d][\w-]*")
A_NAME = "expected a letter, then letters, digits"
CHIPS, WAYS, PERSON = "button,main", "cable,radio", "user"
TAKEN = frozenset(
    {"device", "host", "part", "ci", "cable", "radio", "bluetooth", "pairing", "null"}
)
"""Names that a new device has for something else, or that its files have."""

T = TypeVar("T")


@click.command("new", epilog=exit_codes("written", incomplete="interrupted"))
@click.argument("name")
@click.option(
    "--chips",
    metavar="NAMES",
    help="The chips of the device, separated by commas: first those that read something, last the "
    f"one that talks to the host (default: {CHIPS}).",
)
@click.option(
    "--ways",
    metavar="WAYS",
    help=f"How it connects: one or more of cable, radio, bluetooth (default: {WAYS}).",
)
@click.option(
    "--pairing/--no-pairing",
    "paired",
    default=None,
    help="Whether radio and Bluetooth need a pairing (default: they do).",
)
@click.option("--person", metavar="NAME", help=f"Who plugs and presses (default: {PERSON}).")
@click.option("--yes", is_flag=True, help="Ask nothing; take the defaults for what is not given.")
def command(
    name: str,
    chips: str | None,
    ways: str | None,
    paired: bool | None,
    person: str | None,
    yes: bool,
) -> None:
    """Write the model of a small device to the new folder NAME.

    Asks for what the options leave open. The folder holds the device and its chips with three
    requirements, a test for pytest, a job for CI and the schemas for editors; every file says what
    it is for. Nothing is ever overwritten.
    """
    from modecheck.model.devices import read_device
    from modecheck.report.new_device import NewDevice, files_of
    from modecheck.report.style import show
    from modecheck.report.whole_folder import need_new, write_new_folder

    if not FOLDER.fullmatch(name):
        raise click.UsageError(f"{name!r} cannot be a device: {A_NAME}, _ or -")
    need_new(name)
    known_chips = _answer("Chips, the one that talks to the host last", chips, CHIPS, _chips, yes)
    known_ways = _answer("It connects by (cable, radio, bluetooth)", ways, WAYS, _ways, yes)
    if known_ways == ("cable",):
        paired = False
    elif paired is None:
        paired = yes or (_need_somebody() and click.confirm("Is it paired first?", default=True))
    actor = _answer("Who plugs and presses", person, PERSON, _name, yes)
    if actor in known_chips:
        raise click.UsageError(f"{actor!r} is a chip already; name a person by --person")
    files = files_of(NewDevice(name, known_chips, known_ways, paired, actor))
    write_new_folder(name, files, lambda folder: read_device(f"{folder}/device.yaml"))
    show([f"{name}/device.yaml is written, with the files that belong to it. Try:", ""])
    show([f"  cd {name}", "  modecheck check device.yaml", "  pytest"])


def _answer(
    question: str, given: str | None, usual: str, understood: Callable[[str], T], yes: bool
) -> T:
    """What an option says, or the user, who is asked again after an answer that is not understood;
    with `yes` the usual answer.
    """
    if given is not None or yes:
        return understood(usual if given is None else given)
    _need_somebody()
    answer: T = click.prompt(question, default=usual, value_proc=understood)
    return answer


def _need_somebody() -> bool:
    if not sys.stdin.isatty():
        raise click.UsageError("there is nobody to ask: give --yes, or all options")
    return True


def _name(text: str) -> str:
    from modecheck.model.shapes import IDENTIFIER, RESERVED

    name = text.strip()
    if not IDENTIFIER.fullmatch(name):
        raise click.UsageError(f"{name!r} is not a name: {A_NAME} or _")
    if name.lower() in TAKEN | RESERVED:
        raise click.UsageError(f"{name!r} has another meaning in the model; choose another name")
    return name


def _chips(text: str) -> tuple[str, ...]:
    from modecheck.report.new_device import MOST_PARTS

    names = tuple(map(_name, text.split(",")))
    if not 2 <= len({name.lower() for name in names}) == len(names) <= MOST_PARTS + 1:
        raise click.UsageError(f"{text!r}: 2 to {MOST_PARTS + 1} different chips are needed")
    return names


def _ways(text: str) -> tuple[str, ...]:
    from modecheck.model.errors import nearest_name
    from modecheck.report.new_device import KNOWN_WAYS

    named = [word.strip() for word in text.split(",")]
    for word in named:
        if word not in KNOWN_WAYS:
            near = nearest_name(word, KNOWN_WAYS)
            did = f"did you mean {near!r}?" if near else f"known are {', '.join(KNOWN_WAYS)}"
            raise click.UsageError(f"unknown way {word!r}; {did}")
    return tuple(way for way in KNOWN_WAYS if way in named)
