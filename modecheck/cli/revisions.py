"""The files of a revision, checked out of version control into a temporary folder.

All files of the revision are checked out, so that a device finds the files that it names; the
user's working tree and index are not touched. The folder is deleted when the work is done.
"""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.places import Place, Source

PATIENCE = 120
"""Timeout of one git command in seconds: enough for a large repository on a slow disk."""


@contextmanager
def file_at_revision(path: str, revision: str) -> Iterator[tuple[str, str]]:
    """The folder that holds a revision's files, and the path in it of the file that is now at
    `path`. Raises `InvalidInput` if there is no repository, no such revision, or no such file
    in it.
    """
    folder = os.path.dirname(path) or "."
    if not os.path.isdir(folder):
        raise _wrong(f"there is no folder {folder!r}", "a device file in a repository")
    top = _git(["rev-parse", "--show-toplevel"], folder)
    if top is None:
        raise _wrong(
            f"{path!r} is not in a git repository, so it has no revisions",
            "a file in a repository, or two files: modecheck compare OLD NEW",
        )
    commit = _commit(revision, folder)
    inside = os.path.relpath(os.path.realpath(path), os.path.realpath(top))
    with tempfile.TemporaryDirectory(prefix="modecheck-") as temporary:
        files = os.path.realpath(temporary)
        _check_out(commit, top, files, revision)
        found = os.path.join(files, inside)
        if not os.path.exists(found):
            raise _wrong(f"there is no {inside!r} in {revision}", "a revision that has the file")
        with _told_as(files, revision):
            yield files, found


def _commit(revision: str, folder: str) -> str:
    commit = None
    if revision and not revision.startswith("-"):
        commit = _git(["rev-parse", "--verify", "--quiet", f"{revision}^{{commit}}"], folder)
    if not commit:
        raise _wrong(
            f"there is no revision {revision!r} in this repository",
            "a commit, a branch or a tag, such as HEAD or HEAD~1",
        )
    return commit


def _check_out(commit: str, top: str, files: str, revision: str) -> None:
    with tempfile.TemporaryDirectory(prefix="modecheck-") as temporary:
        index = {"GIT_INDEX_FILE": os.path.join(temporary, "index")}
        reads = _git(["read-tree", commit], top, index) is not None
        writes = ["checkout-index", "--all", "--force", f"--prefix={files}{os.sep}"]
        if not reads or _git(writes, top, index) is None:
            raise _wrong(f"the files of {revision} cannot be checked out", "an intact repository")


def _git(arguments: list[str], folder: str, env: dict[str, str] | None = None) -> str | None:
    """The output of a git command, or None if it fails."""
    try:
        done = subprocess.run(  # noqa: S603 - no shell, and the arguments are fixed
            ["git", *arguments],  # noqa: S607 - the git that the user has
            cwd=folder,
            env={**os.environ, "LC_ALL": "C", **(env or {})},
            capture_output=True,
            timeout=PATIENCE,
            check=False,
        )
    except FileNotFoundError as error:
        raise _wrong("git is not installed, so there are no revisions", "git") from error
    except subprocess.TimeoutExpired as error:
        raise _wrong(f"git did not finish within {PATIENCE} s", "a readable repository") from error
    return os.fsdecode(done.stdout).strip() if done.returncode == 0 else None


@contextmanager
def _told_as(files: str, revision: str) -> Iterator[None]:
    """Errors in the checked-out files name the revision, not the temporary folder."""
    try:
        yield
    except InvalidInput as error:
        raise InvalidInput([_renamed(one, files, revision) for one in error.errors]) from error


def _renamed(error: InputError, files: str, revision: str) -> InputError:
    message = error.message.replace(f"{files}{os.sep}", f"{revision}:")
    place = error.place
    if place is not None and place.file.startswith(files):
        name = f"{revision}:{Path(place.file).relative_to(files).as_posix()}"
        place = Place(Source(name, place.source.lines), place.line, place.column, place.width)
    return replace(error, message=message, place=place)


def _wrong(message: str, expected: str) -> InvalidInput:
    return InvalidInput([InputError(message, None, expected)])
