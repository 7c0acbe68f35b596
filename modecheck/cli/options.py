"""Options that several commands share."""

from __future__ import annotations

from typing import Any

import click


def parsed_choices(_ctx: click.Context, _param: click.Parameter, values: Any) -> dict[str, str]:
    """`NAME=VALUE` pairs as a dictionary."""
    choices: dict[str, str] = {}
    for value in values:
        name, equals, choice = value.partition("=")
        if not equals or not name:
            raise click.BadParameter(f"{value!r} is not NAME=VALUE")
        if choices.get(name, choice) != choice:
            raise click.BadParameter(f"{name!r} is chosen twice")
        choices[name] = choice
    return choices


device_argument = click.argument("device")

choice_option = click.option(
    "--option",
    "chosen",
    multiple=True,
    metavar="NAME=VALUE",
    callback=parsed_choices,
    help="Choose a value of one of the device's options (default: its first).",
)

max_states_option = click.option(
    "--max-states",
    type=click.IntRange(min=1),
    metavar="N",
    help="Stop after N states and say so; the result is then incomplete.",
)
