"""Options for how much of a report is shown; they arrive as `showing`."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import click

UNFOLD = "--in-full"
"""The option that shows whatever a report folds away."""


def parsed_kinds(
    _ctx: click.Context, _param: click.Parameter, values: tuple[str, ...]
) -> tuple[str, ...]:
    """Codes and ids of findings; an unknown code is an error that names the nearest one."""
    from modecheck.model.errors import nearest_name
    from modecheck.model.finding_kinds import KINDS

    for value in values:
        code = value.partition(":")[0]
        if code not in KINDS:
            near = nearest_name(code, KINDS)
            did = f" Did you mean {near!r}?" if near else " modecheck explain lists all codes."
            raise click.BadParameter(f"no finding has the code {code!r}.{did}")
    return values


def _codes_from(_ctx: click.Context, _param: click.Parameter, begin: str) -> list[str]:
    """What a shell completes a code by."""
    from modecheck.model.finding_kinds import KINDS

    return [code for code in KINDS if code.startswith(begin)]


def showing_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Options that choose findings and how much is said of each. They change no file but the
    Markdown, and no exit code.
    """

    @functools.wraps(function)
    def with_showing(
        *args: Any,
        brief: bool,
        in_full: bool,
        only: tuple[str, ...],
        limit: int | None,
        **others: Any,
    ) -> Any:
        from modecheck.report.showing import Showing

        if brief and in_full:
            raise click.UsageError(f"--brief and {UNFOLD} exclude each other")
        return function(*args, showing=Showing(brief, in_full, only, limit), **others)

    for option in reversed(_OPTIONS):
        with_showing = option(with_showing)
    return with_showing


_OPTIONS = (
    click.option("--brief", is_flag=True, help="Show a line for each finding."),
    click.option(
        UNFOLD,
        is_flag=True,
        help="Show every finding with a scenario of its own, whole, and all that the verdicts on "
        "requirements assume.",
    ),
    click.option(
        "--only",
        multiple=True,
        metavar="CODE",
        callback=parsed_kinds,
        shell_complete=_codes_from,
        help="Show only findings of this code, or with this id. May be given several times.",
    ),
    click.option(
        "--limit",
        type=click.IntRange(min=0),
        metavar="N",
        help="Show the first N findings, and count the others.",
    ),
)
