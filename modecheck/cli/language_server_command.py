"""`modecheck language-server`: what an editor starts to know what modecheck knows."""

from __future__ import annotations

import sys

import click

from modecheck.cli.exit_codes import exit_codes

NEEDED = ("pygls", "lsprotocol")
"""The packages of the extra `editor`."""


@click.command(
    "language-server",
    short_help="Answer an editor by the Language Server Protocol.",
    epilog=exit_codes(
        "the editor has ended it",
        found="the editor has gone without ending it",
        invalid="a package that it needs is not installed",
        incomplete="",
    ),
)
def command() -> None:
    """Answer an editor by the Language Server Protocol, on standard input and output.

    The editor starts this command itself: modecheck guide editor shows how to tell it to.
    """
    import importlib.util

    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        raise click.UsageError(
            f"the language server needs {' and '.join(missing)}, not installed here: "
            "pip install 'modecheck[editor]'"
        )
    from modecheck.editor.server import serve

    sys.exit(serve())
