"""Options that several commands share."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
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

reduce_option = click.option(
    "--reduce",
    "reductions",
    multiple=True,
    type=click.Choice(["symmetry", "time", "order"]),
    help="Explore less: identical units only once (symmetry), waits in which nothing can happen as "
    "one step (time; both leave every check as it is), or independent steps in one order (order, "
    "deadlocks alone are looked for). May be given again.",
)

BYTES = {"": 1, "KB": 10**3, "MB": 10**6, "GB": 10**9, "KIB": 2**10, "MIB": 2**20, "GIB": 2**30}


def parsed_memory(_ctx: click.Context, _param: click.Parameter, value: str | None) -> int | None:
    """`500MB`, `2 GiB` as bytes."""
    if value is None:
        return None
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([a-zA-Z]*)\s*", value)
    unit = BYTES.get(match[2].upper()) if match else None
    if match is None or unit is None or float(match[1]) <= 0:
        raise click.BadParameter(f"{value!r} is no amount of memory, such as 500MB or 2GiB")
    return int(float(match[1]) * unit)


def exploring_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """The options of every command that explores; they arrive as `search`."""

    @functools.wraps(function)
    def with_search(
        *args: Any,
        engine: str,
        threads: int | None,
        max_states: int | None,
        max_seconds: float | None,
        memory: int | None,
        **others: Any,
    ) -> Any:
        from modecheck.engine.choice import Search
        from modecheck.engine.space import Limits

        if engine == "zones" and click.get_current_context().command.name != "check":
            raise click.UsageError(
                "zones serve 'check' alone, which can do without roads and loops"
            )
        limits = Limits(states=max_states, seconds=max_seconds, memory=memory)
        search = Search(engine=engine, limits=limits, threads=threads)  # type: ignore[arg-type]
        return function(*args, search=search, **others)

    for option in reversed(_EXPLORING):
        with_search = option(with_search)
    return with_search


_EXPLORING = (
    click.option(
        "--max-states",
        type=click.IntRange(min=1),
        metavar="N",
        help="Stop after N states and say so; the result is then incomplete.",
    ),
    click.option(
        "--max-seconds",
        type=click.FloatRange(min=0, min_open=True),
        metavar="S",
        help="Stop exploring after S seconds; the result is then incomplete.",
    ),
    click.option(
        "--memory",
        callback=parsed_memory,
        metavar="SIZE",
        help="Stop before the process holds more than SIZE, such as 500MB or 8GiB.",
    ),
    click.option(
        "--engine",
        type=click.Choice(["auto", "plain", "compiled", "zones"]),
        default="auto",
        show_default=True,
        help="auto begins plain and goes on compiled when the product is large; zones, for devices "
        "with a clock, holds moments together (check alone).",
    ),
    click.option(
        "--threads",
        type=click.IntRange(min=1),
        metavar="N",
        help="Threads of the compiled engine (default: one for each core).",
    ),
)
