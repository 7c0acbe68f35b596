"""Reports on the terminal, and the files beside them, each written completely or not at all."""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import click

if TYPE_CHECKING:
    from modecheck.checks.explored import Verdict
    from modecheck.report.document_tree import Block

Function: TypeAlias = Callable[..., Any]

OUTPUTS = {
    "json": "Also write the result as JSON.",
    "junit": "Also write a test case for each requirement and class of findings, as JUnit XML.",
    "sarif": "Also write the findings as SARIF 2.1.0, which code hosts show next to the lines.",
}
"""What each option `--NAME FILE` writes; `modecheck.report.as_NAME` turns verdicts into it."""

markdown_option = click.option(
    "--markdown",
    "markdown_file",
    metavar="FILE",
    help="Also write the report as Markdown, for a merge request.",
)
"""For every command that prints a report."""


def json_option(what: str) -> Callable[[Function], Function]:
    """For every command that has its results as data, too."""
    return click.option(
        "--json", "json_file", metavar="FILE", help=f"Also write the {what} as JSON."
    )


def present(
    blocks: Sequence[Block], markdown_file: str | None, title: str = "", *, unfold: str = ""
) -> None:
    """Show a report, and write it as Markdown if wanted, there under a title of its own. `unfold`
    is the option that shows all of it.
    """
    import sys

    from modecheck.report.style import show, style_for
    from modecheck.report.terminal import lines_of

    write_markdown(blocks, markdown_file, title)
    show(lines_of(blocks, style_for(sys.stdout), unfold=unfold))


def write_markdown(blocks: Sequence[Block], file: str | None, title: str = "") -> None:
    """Write a report as Markdown if wanted."""
    if file is not None:
        from modecheck.report.document_tree import Title
        from modecheck.report.markdown import markdown_of
        from modecheck.report.whole_files import write_whole

        write_whole(file, markdown_of([Title(title), *blocks] if title else blocks))


def output_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """An option for each of `OUTPUTS`; they arrive as `NAME_file`."""
    for name, told in reversed(OUTPUTS.items()):
        option = click.option(f"--{name}", f"{name}_file", metavar="FILE", help=told)
        function = option(function)
    return function


def need_all_writable(files: Mapping[str, str | None]) -> None:
    """Raise `InvalidInput` before long work if a file cannot be written or is named twice."""
    from modecheck.model.errors import InputError, InvalidInput
    from modecheck.report.whole_files import need_writable

    users: dict[str, str] = {}
    for name, path in files.items():
        if path is None:
            continue
        need_writable(path)
        other = users.setdefault(os.path.realpath(path), name)
        if other != name:
            message = f"{path!r} is given to both --{other} and --{name}"
            raise InvalidInput([InputError(message, expected="a separate file for each")])


def write_outputs(
    verdicts: Sequence[Verdict], data: Sequence[object], files: Mapping[str, str | None]
) -> None:
    """Write every file that was requested; `data` is each result as JSON."""
    from modecheck.report.whole_files import write_json, write_whole

    if (path := files.get("json")) is not None:
        write_json(path, data[0] if len(data) == 1 else {"devices": list(data)})
    for name in ("junit", "sarif"):
        if (path := files.get(name)) is not None:
            module = importlib.import_module(f"modecheck.report.as_{name}")
            write_whole(path, getattr(module, f"{name}_text")(*verdicts))
