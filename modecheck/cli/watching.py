"""`--watch`: do it again whenever a file of a device is saved."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

import click

from modecheck.cli.exit_codes import WRONG_INPUT

if TYPE_CHECKING:
    from modecheck.model.parts import Device

Function: TypeAlias = Callable[..., Any]

watch_option = click.option(
    "--watch",
    is_flag=True,
    help="Do it again whenever a file of DEVICE is saved, until Ctrl-C; report first what has "
    "changed since the last time.",
)
ENDINGS = (".yaml", ".yml")
"""Of the files that may mend an error in the input, in the folders of those that are known."""


@dataclass(frozen=True, slots=True)
class Pass:
    """What one pass found: its exit code, and the devices whose files are watched. One that was
    `interrupted` is the last.
    """

    code: int
    devices: Sequence[Device]
    interrupted: bool = False


def repeated(once: Callable[[], Pass], named: Iterable[str], *, watch: bool) -> int:
    """The exit code of a pass; to `watch`, that of the last of many. An error in the input then
    ends only its own pass. `named` are the files that the user named.
    """
    if not watch:
        return once().code
    named, code = set(named), None
    known = set(named)
    try:
        while True:
            read = {path: _digest(path) for path in known}
            try:
                done = once()
            except _input_error() as error:
                _show(error)
                code, failed = WRONG_INPUT, True
            else:
                code, failed = done.code, False
                read = {path: own for one in done.devices for path, own in one.digests.items()}
                known = named | set(read)
                if done.interrupted:
                    return code
            # What was saved during a pass has been missed by it.
            _tell_saved(_changed(read) or wait_for(known, read, any_model=failed))
    except KeyboardInterrupt:
        if code is None:
            raise
        return code


def wait_for(files: Collection[str], read: Mapping[str, str], *, any_model: bool) -> list[str]:
    """Wait until some of these files are saved, or any model beside them; a terminal shows a line
    meanwhile. Now and then they are also compared with what was `read` of them, for what was saved
    before the waiting began. Raises `KeyboardInterrupt`.
    """
    from watchfiles import Change, watch

    wanted = {os.path.realpath(path): path for path in files}
    folders = {os.path.dirname(path) for path in wanted}

    def counts(change: Change, path: str) -> bool:
        real = os.path.realpath(path)
        model = any_model and real.endswith(ENDINGS)
        return change is not Change.deleted and (real in wanted or model)

    _tell_waiting(len(wanted))
    try:
        for changes in watch(
            *sorted(folders), watch_filter=counts, recursive=False, yield_on_timeout=True
        ):
            real = {os.path.realpath(path) for _, path in changes}
            saved = {wanted.get(path, path) for path in real} or _changed(read)
            if saved:
                return sorted(saved)
    except OSError as error:
        raise click.ClickException(f"the files cannot be watched: {error}") from error
    finally:
        _clear_line()
    raise KeyboardInterrupt


def _input_error() -> type[Exception]:
    from modecheck.model.errors import ModecheckError

    return ModecheckError


def _show(error: Exception) -> None:
    from modecheck.report.input_errors import show_errors

    show_errors(error)


def _digest(path: str) -> str:
    """The SHA-256 of a file, as `Device.digests` has it; empty if it cannot be read."""
    from hashlib import sha256

    try:
        with open(path, "rb") as file:
            return sha256(file.read()).hexdigest()
    except OSError:
        return ""


def _changed(read: Mapping[str, str]) -> list[str]:
    """The files that are no longer what they were when they were read."""
    return [path for path, own in read.items() if _digest(path) != own]


def _tell_waiting(count: int) -> None:
    from modecheck.model.wording import counted
    from modecheck.report.style import style_for

    if sys.stdout.isatty():
        text = style_for(sys.stdout).faint(f"watching {counted(count, 'file')}; Ctrl-C ends")
        sys.stdout.write(f"\n{text}")
        sys.stdout.flush()


def _clear_line() -> None:
    if sys.stdout.isatty():
        sys.stdout.write(f"\r{' ' * 40}\r")
        sys.stdout.flush()


def _tell_saved(paths: Iterable[str]) -> None:
    from modecheck.report.style import show, style_for

    near = [min(path, os.path.relpath(path), key=len) for path in paths]
    show(["", style_for(sys.stdout).bold(f"── saved: {', '.join(near)}"), ""])
