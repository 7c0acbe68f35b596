"""`modecheck scxml`: a chip as SCXML, for other tools."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from modecheck.cli.exit_codes import exit_codes
from modecheck.cli.options import FILE, choice_option, device_argument

if TYPE_CHECKING:
    from modecheck.model.parts import Device


@click.command(
    "scxml",
    short_help="Write a chip as SCXML 1.0, a notation for statecharts.",
    epilog=exit_codes("written", incomplete=""),
)
@device_argument
@choice_option
@click.option("--chip", required=True, metavar="NAME", help="The chip or the actor.")
@click.option("--to", "file", type=FILE, metavar="FILE", help="Write to FILE instead of printing.")
def command(device: str, chosen: dict[str, str], chip: str, file: str | None) -> None:
    """Write a chip as SCXML 1.0, the W3C's notation for statecharts.

    Where SCXML cannot say what the model says, standard error names it with its place in the YAML
    files, and a comment stands there in what is written: modecheck guide formats. modecheck
    from-scxml reads the chip back.
    """
    from modecheck.cli.exploring import told_variants_of
    from modecheck.cli.outputs import need_all_writable
    from modecheck.exchange.scxml_differences import told_differences
    from modecheck.exchange.scxml_writing import scxml_of
    from modecheck.report.whole_files import write_whole

    need_all_writable({"to": file})
    model = told_variants_of(device, chosen, every=False)[0]
    _need_chip(model, chip)
    document = scxml_of(model, chip, _head(model, chip))
    if file is not None:
        write_whole(file, document.text)
    else:
        click.echo(document.text, nl=False)
    _tell(list(told_differences(document.differences)))


def _need_chip(model: Device, chip: str) -> None:
    from modecheck.model.errors import InputError, InvalidInput, nearest_name

    if chip not in model.chips:
        expected = f"one of {', '.join(model.chips)}"
        message = f"{model.name} has no chip {chip!r}"
        near = nearest_name(chip, model.chips)
        raise InvalidInput([InputError(message, model.place, expected, near)])


def _head(model: Device, chip: str) -> list[str]:
    from modecheck import __version__

    variant = f" ({model.choices})" if model.choices else ""
    return [
        f"{chip} of {model.name}{variant}, by modecheck {__version__}: a model, not the hardware.",
        "MESSAGE.LINK is a message, an event without a dot a signal or a message of any link. What "
        "the chip sends goes to the session that invoked it, which stands for the device. "
        "Attributes that begin with chip: say what SCXML has no word for.",
    ]


def _tell(lines: list[str]) -> None:
    """What differs, on standard error."""
    import sys

    from modecheck.report.style import show, style_for

    if lines:
        style = style_for(sys.stderr)
        head = "SCXML says it differently here; each place has a comment in the file:"
        shown = [line for one in [head, *lines] for line in style.wrapped(one, hanging="    ")]
        show(shown, sys.stderr)
