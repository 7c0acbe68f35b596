"""The command `modecheck`: finds the subcommand, and turns mistakes into exit code 2."""

from __future__ import annotations

import gc
import importlib
import os
import sys

import click

from modecheck import __version__
from modecheck.cli.exit_codes import INCOMPLETE, WRONG_INPUT

COMMANDS = {
    "chances": "modecheck.cli.chances",
    "check": "modecheck.cli.check",
    "compare": "modecheck.cli.compare",
    "draw": "modecheck.cli.draw",
    "follow": "modecheck.cli.follow",
    "gaps": "modecheck.cli.gaps",
    "page": "modecheck.cli.page",
    "roam": "modecheck.cli.roam",
    "step": "modecheck.cli.step",
    "times": "modecheck.cli.times",
    "tours": "modecheck.cli.tours",
}

GARBAGE_LOOKED_FOR = (100_000, 20, 20)
"""Objects made before Python looks for some that nobody holds, and how often it does thoroughly."""

EPILOG = """\b
Exit codes: 0 nothing found, 1 findings, 2 the input is wrong, 3 incomplete.

modecheck checks a model, not the hardware. It replaces no certification, no
lab test and no licensed engineer; local rules prevail.
"""


class _Commands(click.Group):
    """Loads the module of a command only when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - as click calls it
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        module = COMMANDS.get(cmd_name)
        if module is None:
            return None
        command: click.Command = importlib.import_module(module).command
        return command


@click.command(
    cls=_Commands, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, prog_name="modecheck")
def _modecheck() -> None:
    """Verify how the firmware of a multi-chip device switches between its modes.

    A device is written down as YAML: its chips with their states and rules, the links between
    them, and the people and cables around them. modecheck composes them and tells what can go
    wrong, as the shortest scenario for each cause.
    """


def main() -> None:
    """Run the command line; the entry point of the console script."""
    # Nearly all that is made stays: to look for what is left over as often as usual takes a tenth.
    gc.set_threshold(*GARBAGE_LOOKED_FOR)
    try:
        _modecheck.main(standalone_mode=False)
    except click.exceptions.Exit as end:
        sys.exit(end.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(WRONG_INPUT)
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted before there was anything to report", err=True)
        sys.exit(INCOMPLETE)
    except BrokenPipeError:
        # The reader of a pipe went away (`modecheck check … | head`) before all was told.
        _leave_quietly(INCOMPLETE)
    except OSError as error:
        click.echo(f"the output cannot be written: {error.strerror or error}", err=True)
        _leave_quietly(WRONG_INPUT)
    except Exception as error:
        from modecheck.model.mistakes import ModecheckError

        if not isinstance(error, ModecheckError):
            raise
        _show_mistakes(error)
        sys.exit(WRONG_INPUT)


def _leave_quietly(code: int) -> None:
    """End without trying once more to write what could not be written."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - until the process ends
    sys.exit(code)


def _show_mistakes(error: Exception) -> None:
    from modecheck.report.style import show

    count = len(getattr(error, "mistakes", ()))
    heading = ["", f"{count} mistake{'' if count == 1 else 's'} in the input"] if count else []
    show([str(error), *heading], sys.stderr)
