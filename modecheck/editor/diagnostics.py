"""What is wrong, beside the text: errors of reading, and the findings of the last check.

Both are problems of files; `server.py` shows each file those that are its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.editor.bounded_check import CheckedFinding, CheckedPlace, CheckOutcome
from modecheck.editor.node_ends import NodeEnds, ends_in
from modecheck.editor.positions import TextMap, TextSpan
from modecheck.editor.real_paths import real_path
from modecheck.editor.workspace import Workspace, kind_of_file
from modecheck.model.devices import read_device
from modecheck.model.errors import InputError, InvalidInput, Notebook
from modecheck.model.overlays import read_document
from modecheck.model.parts import Device
from modecheck.model.places import Place
from modecheck.model.text_files import HeldTexts, instead_of_files

ERROR, WARNING, INFORMATION = 1, 2, 3
"""Severities of the Language Server Protocol (3.17, "DiagnosticSeverity")."""

MOST_STEPS_SHOWN = 60
"""Steps of a scenario that are shown as related places; some have hundreds."""


@dataclass(frozen=True, slots=True)
class Related:
    """A further place of a problem, with what it has to do with it."""

    path: str
    span: TextSpan
    message: str


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong in a file. `code` is that of a finding, or empty; `subject` its id, or what
    the nearest known name is, for those who offer to mend it; `word` is what was written in place
    of that.
    """

    path: str
    span: TextSpan
    severity: int
    message: str
    code: str = ""
    subject: str = ""
    word: str = ""
    related: tuple[Related, ...] = ()


@dataclass(frozen=True, slots=True)
class FileReading:
    """What came of reading a device or a lone file: the device, or None, and what is wrong."""

    path: str
    device: Device | None
    problems: tuple[Problem, ...]
    files: tuple[str, ...]


def read_with_problems(workspace: Workspace, held: HeldTexts, path: str) -> FileReading:
    """Read the file at `path` as a device, or alone if it is none, and place what is wrong."""
    notes = Notebook()
    device, errors = None, tuple[InputError, ...]()
    with instead_of_files(held):
        try:
            if kind_of_file(workspace.text_of(path) or "") == "device":
                device = read_device(path)
            else:
                read_document(path, notes)
                notes.raise_if_any()
        except InvalidInput as wrong:
            errors = wrong.errors
    maps = Maps(workspace)
    problems = tuple(_problem(maps, error, path) for error in errors)
    return FileReading(path, device, problems, tuple(workspace.files_of(path)))


class Maps:
    """The positions of texts, each made once."""

    def __init__(self, workspace: Workspace) -> None:
        self._workspace = workspace
        self._known: dict[str, TextMap] = {}
        self._ends: dict[str, NodeEnds] = {}

    def of(self, path: str) -> TextMap:
        if path not in self._known:
            self._known[path] = self._workspace.map_of(path)
        return self._known[path]

    def span_of(self, place: Place, word: str) -> TextSpan:
        """The characters of a place in a file. Where it is that of a whole text, perhaps of several
        lines, those of the word in it that is meant, if it stands there.
        """
        text = self.of(place.file)
        span = text.span_of(place)
        if not word:
            return span
        meant = re.compile(rf"(?<!\w){re.escape(word)}(?!\w)")
        found = meant.search(text.text, span.start, span.end)
        if found is None:
            if place.file not in self._ends:
                self._ends[place.file] = ends_in(text, text.text)
            end = self._ends[place.file].of_scalar(place)
            found = meant.search(text.text, span.start, end)
        return TextSpan(*found.span()) if found else span

    def span(self, place: CheckedPlace) -> TextSpan:
        """The characters of a place that another process has named."""
        text = self.of(place.path)
        start = text.offset_at(place.line, place.column)
        end = text.line_end(start)
        return TextSpan(min(start, end), min(start + max(place.width, 1), end))


def _problem(maps: Maps, error: InputError, path: str) -> Problem:
    """An error as it is printed, without its place and its excerpt, which the editor shows."""
    advice = []
    if error.expected and error.expected != repr(error.nearest):
        advice.append(f"expected {error.expected}")
    if error.nearest:
        advice.append(f"did you mean {error.nearest!r}?")
    message = "; ".join([error.message, *advice])
    if error.place is None:
        return Problem(path, TextSpan(0, maps.of(path).line_end(0)), ERROR, message)
    span = maps.span_of(error.place, error.word)
    return Problem(error.place.file, span, ERROR, message, subject=error.nearest, word=error.word)


def problems_found(workspace: Workspace, outcome: CheckOutcome) -> list[Problem]:
    """The findings of a check, each at what causes it, and whether something was left open."""
    maps = Maps(workspace)
    problems = [_of_finding(maps, found) for found in outcome.findings]
    return [*_left_open(maps, outcome), *problems]


def _of_finding(maps: Maps, found: CheckedFinding) -> Problem:
    severity = ERROR if found.severity == "error" else WARNING
    message = "\n".join([found.text, *(f"- {one}" for one in found.details), found.hint])
    return Problem(
        found.place.path,
        maps.span(found.place),
        severity,
        message.strip(),
        code=found.code,
        subject=found.id,
        related=tuple(_related(maps, found)),
    )


def _related(maps: Maps, found: CheckedFinding) -> Iterator[Related]:
    for step in found.steps[:MOST_STEPS_SHOWN]:
        place = step.place or found.place
        yield Related(place.path, maps.span(place), f"{step.number}. {step.text}")
    for place in found.also:
        yield Related(place.path, maps.span(place), "the same cause")


def _left_open(maps: Maps, outcome: CheckOutcome) -> Iterator[Problem]:
    """An incomplete check proves nothing, which is said where the device is named."""
    if not outcome.stopped_by:
        return
    text = maps.of(outcome.path)
    start = max(text.text.find("device:"), 0)
    message = (
        f"incomplete: checked {outcome.states:,} states, stopped by {outcome.stopped_by}; what is "
        "not reported may still be wrong"
    )
    yield Problem(outcome.path, TextSpan(start, text.line_end(start)), INFORMATION, message)


def by_file(problems: list[Problem]) -> dict[str, list[Problem]]:
    """The problems of each file, by its real path."""
    found: dict[str, list[Problem]] = {}
    for one in problems:
        found.setdefault(real_path(one.path), []).append(one)
    return found
