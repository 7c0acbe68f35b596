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


FILE = click.Path(readable=False)
"""Any text; a shell completes it by the names of files."""

device_argument = click.argument("device", type=FILE)

choice_option = click.option(
    "--option",
    "chosen",
    multiple=True,
    metavar="NAME=VALUE",
    callback=parsed_choices,
    help="Choose a value for one of the device's options (default: its first value). May be given "
    "several times.",
)

reduce_option = click.option(
    "--reduce",
    "reductions",
    multiple=True,
    type=click.Choice(["symmetry", "time", "order"]),
    help="Explore fewer states: symmetry explores identical units once, time takes a wait in which "
    "nothing can happen as one step (all checks still apply), order takes independent steps in one "
    "order only (finds deadlocks only). May be given several times.",
)

BYTES = {"": 1, "KB": 10**3, "MB": 10**6, "GB": 10**9, "KIB": 2**10, "MIB": 2**20, "GIB": 2**30}


def parsed_memory(_ctx: click.Context, _param: click.Parameter, value: str | None) -> int | None:
    """`500MB` or `2 GiB` in bytes."""
    if value is None:
        return None
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([a-zA-Z]*)\s*", value)
    unit = BYTES.get(match[2].upper()) if match else None
    if match is None or unit is None or float(match[1]) <= 0:
        raise click.BadParameter(f"{value!r} is not an amount of memory, such as 500MB or 2GiB")
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
        from modecheck.engine.contract.space import Limits

        if engine == "zones" and click.get_current_context().command.name != "check":
            raise click.UsageError(
                "--engine zones works with check only: it keeps no graph of the state space"
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
        help="Stop after N states; the result is then incomplete.",
    ),
    click.option(
        "--max-seconds",
        type=click.FloatRange(min=0, min_open=True),
        metavar="S",
        help="Stop after S seconds; the result is then incomplete.",
    ),
    click.option(
        "--memory",
        callback=parsed_memory,
        metavar="SIZE",
        help="Stop before the process uses more memory than SIZE, such as 500MB or 8GiB; the "
        "result is then incomplete.",
    ),
    click.option(
        "--engine",
        type=click.Choice(["auto", "plain", "compiled", "gpu", "zones"]),
        default="auto",
        show_default=True,
        help="auto starts with plain, switches to compiled when the product is large, and to gpu, "
        "if there is one, when it is very large; zones, "
        "for devices with a clock, explores whole intervals of time at once (check only).",
    ),
    click.option(
        "--threads",
        type=click.IntRange(min=1),
        metavar="N",
        help="Threads of the compiled engine (default: one per core).",
    ),
)
