"""The files that `modecheck check` writes besides its text, each completely or not at all."""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from modecheck.checks.differences import VerdictDifference
    from modecheck.checks.explored import Verdict

OUTPUTS = {
    "json": "Also write the result as JSON.",
    "junit": "Also write a test case for each requirement and class of findings, as JUnit XML.",
    "sarif": "Also write the findings as SARIF 2.1.0, which code hosts show next to the lines.",
    "markdown": "Also write a summary for a merge request.",
}
"""What each option `--NAME FILE` writes; `modecheck.report.as_NAME` turns a verdict into text."""


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


def write_outputs(verdict: Verdict, files: Mapping[str, str | None]) -> None:
    """Write every file that was requested."""
    from modecheck.report.whole_files import write_whole

    for name, path in files.items():
        if path is not None:
            module = importlib.import_module(f"modecheck.report.as_{name}")
            write_whole(path, getattr(module, f"{name}_text")(verdict))


def write_trial_outputs(
    old: Verdict, new: Verdict, found: VerdictDifference, over: str, files: Mapping[str, str | None]
) -> None:
    """Write the requested files for a device with an overlay: JSON and Markdown compare it with the
    device without the overlay, the others report on the device with it.
    """
    from modecheck.report.whole_files import write_whole

    others = dict(files)
    for name in ("json", "markdown"):
        path = others.pop(name)
        if path is not None:
            module = importlib.import_module(f"modecheck.report.trial_{name}")
            write_whole(path, getattr(module, f"trial_as_{name}_text")(old, new, found, over))
    write_outputs(new, others)
