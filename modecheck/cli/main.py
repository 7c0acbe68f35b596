"""The command `modecheck`: finds the subcommand and turns every error into an exit code."""

from __future__ import annotations

import gc
import importlib
import os
import sys
from collections.abc import Iterable

import click

from modecheck import __version__
from modecheck.cli.exit_codes import INCOMPLETE, INTERNAL_ERROR, WRONG_INPUT

COMMANDS = {
    "chances": "modecheck.cli.chances_command",
    "check": "modecheck.cli.check_command",
    "cluster-check": "modecheck.cli.cluster_check_command",
    "compare": "modecheck.cli.compare_command",
    "draw": "modecheck.cli.draw_command",
    "explain": "modecheck.cli.explain_command",
    "faults": "modecheck.cli.faults_command",
    "firmware": "modecheck.cli.firmware_command",
    "follow": "modecheck.cli.follow_command",
    "from-scxml": "modecheck.cli.from_scxml_command",
    "from-table": "modecheck.cli.from_table_command",
    "gaps": "modecheck.cli.gaps_command",
    "guide": "modecheck.cli.guide_command",
    "language-server": "modecheck.cli.language_server_command",
    "new": "modecheck.cli.new_command",
    "page": "modecheck.cli.page_command",
    "repair": "modecheck.cli.repair_command",
    "roam": "modecheck.cli.roam_command",
    "schema": "modecheck.cli.schema_command",
    "scxml": "modecheck.cli.scxml_command",
    "step": "modecheck.cli.step_command",
    "times": "modecheck.cli.times_command",
    "tours": "modecheck.cli.tours_command",
}

TRACEBACK = "MODECHECK_TRACEBACK"
"""The environment variable that, when set, adds the Python traceback to an internal error."""

GARBAGE_LOOKED_FOR = (100_000, 20, 20)
"""The thresholds of Python's garbage collector: allocations before a collection, and how many
collections of one generation before one of the next.
"""

EPILOG = """\b
Exit codes: 0 nothing found, 1 findings, 2 invalid input, 3 incomplete,
70 a bug in modecheck itself; the help of each command has its own.

modecheck guide explains the model language and everything else,
modecheck explain WORD a finding, a key or an exit code.

modecheck checks a model, not the hardware. It replaces no certification, no
lab test and no licensed engineer; local rules prevail.
"""


class _Commands(click.Group):
    """Loads the module of a command only when the command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - as click calls it
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        module = COMMANDS.get(cmd_name)
        if module is None:
            return None
        command: click.Command = importlib.import_module(module).command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, but an unknown command is reported with the nearest one."""
        if not args[0].startswith("-") and args[0] not in COMMANDS:
            near = _nearest(args[0], COMMANDS)
            did = f" Did you mean {near!r}?" if near else ""
            ctx.fail(f"No such command {args[0]!r}.{did}")
        return super().resolve_command(ctx, args)


@click.command(
    cls=_Commands, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, prog_name="modecheck")
def _modecheck() -> None:
    """Verify how the firmware of a multi-chip device switches between its modes.

    A device is described in YAML: its chips with their states and rules, the links between them,
    and the people and cables around them. modecheck composes them, explores every reachable state
    and reports what can go wrong, with the shortest scenario for each cause.
    """


def main() -> None:
    """Run the command line; the entry point of the console script."""
    # Nearly all objects stay alive: collecting as often as usual would cost a tenth of the time.
    gc.set_threshold(*GARBAGE_LOOKED_FOR)
    _open_what_is_closed()
    try:
        _modecheck.main(standalone_mode=False)
    except click.exceptions.Exit as end:
        sys.exit(end.exit_code)
    except click.ClickException as error:
        told = _explained(error) if isinstance(error, click.NoSuchOption) else error
        told.show()
        sys.exit(WRONG_INPUT)
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted before there was anything to report", err=True)
        sys.exit(INCOMPLETE)
    except BrokenPipeError:
        # The reader of a pipe went away (`modecheck check … | head`) before the report ended.
        _leave_quietly(INCOMPLETE)
    except OSError as error:
        what = repr(str(error.filename)) if error.filename else "the output"
        click.echo(f"{what} cannot be written: {error.strerror or error}", err=True)
        _leave_quietly(WRONG_INPUT)
    except Exception as error:
        from modecheck.model.errors import ModecheckError

        if not isinstance(error, ModecheckError):
            _show_internal(error)
            sys.exit(INTERNAL_ERROR)
        from modecheck.report.input_errors import show_errors

        show_errors(error)
        sys.exit(WRONG_INPUT)


def _open_what_is_closed() -> None:
    """Open the null device in place of each standard stream that was closed at the start.

    Everything may then write as usual, and no file that is opened later gets the descriptor of a
    standard stream, to which libraries write.
    """
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            nowhere = open(os.devnull, mode, encoding="utf-8")  # noqa: SIM115 - until the end
            setattr(sys, name, nowhere)


def _leave_quietly(code: int) -> None:
    """Exit without trying again to write what could not be written."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - until the process ends
    sys.exit(code)


def _nearest(word: str, names: Iterable[str]) -> str:
    from modecheck.model.errors import nearest_name

    return nearest_name(word, names)


def _explained(error: click.NoSuchOption) -> click.UsageError:
    """The error with a hint: the new name of a renamed option, the commands that have this option,
    or else the nearest option of this command.
    """
    from modecheck.model.renamed_words import OPTIONS, called_now

    context, name = error.ctx, error.option_name
    if name in OPTIONS:
        return click.UsageError(called_now(name, OPTIONS[name]), context)
    if context is None or context.parent is None:
        return error
    group = context.parent.command
    assert isinstance(group, click.Group)
    commands = [group.get_command(context, one) for one in COMMANDS]
    users = [one.name or "" for one in commands if one and name in _options_of(one)]
    if users:
        message = f"{error.message} It is an option of {', '.join(users)}."
        return click.NoSuchOption(name, message, ctx=context)
    own = [option.lstrip("-") for option in _options_of(context.command)]
    near = _nearest(name.lstrip("-"), own)
    return click.NoSuchOption(name, possibilities=[f"--{near}"] if near else [], ctx=context)


def _options_of(command: click.Command) -> list[str]:
    return [name for param in command.params for name in param.opts if name.startswith("--")]


def _show_internal(error: Exception) -> None:
    """Report an error that the input did not cause as a bug; the traceback only on request."""
    import traceback

    if os.environ.get(TRACEBACK):
        traceback.print_exception(error)
    kind, words = type(error).__name__, " ".join(str(error).split())
    click.echo(
        f"internal error: {kind}{f': {words}' if words else ''}\n"
        "This is a bug in modecheck, not in your model; it says nothing about the device.\n"
        f"Please report it with the command, the model, the version ({__version__}) and\n"
        f"the output of the same command with {TRACEBACK}=1 in the environment.",
        err=True,
    )
