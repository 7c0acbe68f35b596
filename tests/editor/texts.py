"""Texts with a mark where the cursor is, and sessions that no editor is connected to."""

from __future__ import annotations

from pathlib import Path

import modecheck
from modecheck.editor.bounded_check import Request, outcome_of
from modecheck.editor.diagnostics import problems_found, read_with_problems
from modecheck.editor.positions import Position, TextMap
from modecheck.editor.session import EditorSession
from modecheck.editor.upkeep import KnownDevice
from modecheck.editor.workspace import uri_of
from modecheck.model.text_files import real_path

MODELS = Path(modecheck.__file__).parents[1] / "models"
TANDEM = MODELS / "tandem"
MARK = "¦"


def cut(text: str) -> tuple[str, int]:
    """The text without its mark, and the offset of that."""
    assert text.count(MARK) == 1
    return text.replace(MARK, ""), text.index(MARK)


def alone() -> EditorSession:
    """A session whose problems nobody is shown."""
    return EditorSession(_nothing, _nothing)


def _nothing(_: object) -> None:
    pass


def opened(session: EditorSession, path: Path, text: str) -> tuple[str, Position]:
    """Open a text under a path; its address, and the position of its mark."""
    bare, offset = cut(text)
    session.put(uri_of(str(path)), bare)
    return uri_of(str(path)), TextMap(bare).position(offset)


def changed(path: Path, old: str, new: str) -> str:
    """The text of a file with a part replaced."""
    text = path.read_text(encoding="utf-8")
    assert old in text
    return text.replace(old, new, 1)


def checked(session: EditorSession, path: Path, *, states: int = 5000) -> KnownDevice:
    """Read and check a device now, as the upkeep would do it after a while."""
    workspace = session.workspace
    reading = read_with_problems(workspace, workspace.held(), str(path))
    known = KnownDevice(reading, reading.device)
    session.upkeep.known[str(path)] = known
    if reading.device is not None:
        texts = dict(workspace.held().texts)
        known.outcome = outcome_of(Request(str(path), texts, states, 60.0))
        known.found = problems_found(workspace, known.outcome)
        known.texts = {
            real_path(one.path): workspace.text_of(one.path) or "" for one in known.found
        }
        known.checked_texts = texts
    return known
