"""Random edits of the bundled models: whatever a text looks like, every request has an answer.

The server's own handlers are asked, within this process, and whatever they would write to the log
is an error here. `python -m tests.editor.test_random_edits 5000` tries as many as you like.
"""

from __future__ import annotations

import random
import sys
from functools import cache
from pathlib import Path
from unittest import mock

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

pytest.importorskip("pygls", reason="the extra 'editor' is not installed")

from lsprotocol import types as lsp

from modecheck.editor import protocol_types, server
from modecheck.editor.diagnostics import read_with_problems
from modecheck.editor.positions import Position
from modecheck.editor.upkeep import KnownDevice
from modecheck.editor.workspace import uri_of
from modecheck.model.text_files import real_path
from tests.editor.texts import MODELS

PATHS = sorted(path for path in MODELS.rglob("*.yaml"))
PIECES = (
    *("{", "}", "[", "]", ":", ": ", "- ", '"', "'", "\n", "  ", "#", "|", ">-", ",", "&a", "*a"),
    *("!x", "🎸", "\u2028", "\t", "\r", "\ud800", "null", "{side}", "state ==", "sent(", "hub."),
    *("via ", "based_on: ", "file: ", "each x: ", "copies: 3"),
)
"""What is typed in between: what YAML and expressions are made of, and what belongs in neither."""


class Asked:
    """A server within this process. What it would write to its log is kept in `told`."""

    def __init__(self) -> None:
        self.server = server.make_server()
        self.session = self.server.session
        self.told: list[str] = []

    def everything(self, path: Path, text: str, offset: int) -> None:
        """Open a text and ask every request about an offset in it."""
        uri = uri_of(str(path))
        with mock.patch.object(server, "tell", self.told.append):
            self.session.put(uri, text)
            self._read(str(path))
            where = self.session.workspace.map_of(str(path)).position(offset)
            for method, params in self._requests(uri, where):
                handler = self.server.protocol.fm.features[method]
                try:
                    handler(params)
                except server.Refused:
                    assert method in (lsp.TEXT_DOCUMENT_RENAME, lsp.TEXT_DOCUMENT_PREPARE_RENAME)

    def _read(self, path: str) -> None:
        workspace = self.session.workspace
        self.session.upkeep.known.clear()
        for device in workspace.devices_of(path)[:1] or [path]:
            reading = read_with_problems(workspace, workspace.held(), device)
            self.session.upkeep.known[device] = KnownDevice(reading, reading.device)
        protocol_types.published(self.session, real_path(path))

    def _requests(self, uri: str, where: Position) -> list[tuple[str, object]]:
        document = lsp.TextDocumentIdentifier(uri)
        position = lsp.Position(where.line, where.character)
        everything = lsp.Range(lsp.Position(0, 0), lsp.Position(9999, 0))
        context = lsp.ReferenceContext(include_declaration=True)
        return [
            (lsp.TEXT_DOCUMENT_COMPLETION, lsp.CompletionParams(document, position)),
            (lsp.TEXT_DOCUMENT_HOVER, lsp.HoverParams(document, position)),
            (lsp.TEXT_DOCUMENT_DEFINITION, lsp.DefinitionParams(document, position)),
            (
                lsp.TEXT_DOCUMENT_REFERENCES,
                lsp.ReferenceParams(context=context, text_document=document, position=position),
            ),
            (lsp.TEXT_DOCUMENT_DOCUMENT_SYMBOL, lsp.DocumentSymbolParams(document)),
            (lsp.TEXT_DOCUMENT_FOLDING_RANGE, lsp.FoldingRangeParams(document)),
            (lsp.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL, lsp.SemanticTokensParams(document)),
            (lsp.TEXT_DOCUMENT_INLAY_HINT, lsp.InlayHintParams(document, everything)),
            (
                lsp.TEXT_DOCUMENT_CODE_ACTION,
                lsp.CodeActionParams(document, everything, lsp.CodeActionContext([])),
            ),
            (lsp.TEXT_DOCUMENT_PREPARE_RENAME, lsp.PrepareRenameParams(document, position)),
        ]


@cache
def shared() -> Asked:
    """One server for all: making it takes longer than to ask it."""
    return Asked()


def edited(text: str, drawn: random.Random) -> tuple[str, int]:
    """A text after some edits: a part cut, moved, deleted or typed; where the last one was."""
    at = 0
    for _ in range(drawn.randint(1, 4)):
        at = drawn.randrange(len(text) + 1)
        length = drawn.choice((1, 1, 2, 5, 20, 80, 400))
        cut = text[at : at + length]
        how = drawn.randrange(4)
        if how == 0:
            text = text[:at] + text[at + length :]
        elif how == 1:
            text = text[:at] + drawn.choice(PIECES) + text[at:]
        else:
            rest = text[:at] + text[at + length :] if how == 2 else text
            at = drawn.randrange(len(rest) + 1)
            text = rest[:at] + cut + rest[at:]
    return text, min(at + drawn.randint(0, 3), len(text))


def try_edits(seed: int, asked: Asked) -> None:
    """Edit one model at random, and ask everything."""
    drawn = random.Random(seed)  # noqa: S311 - no secret
    path = drawn.choice(PATHS)
    text, offset = edited(path.read_text(encoding="utf-8"), drawn)
    asked.told.clear()
    try:
        asked.everything(path, text, offset)
    finally:
        asked.session.workspace.buffers.clear()
    assert asked.told == []


@settings(max_examples=max(2, settings().max_examples // 4), deadline=None)
@given(st.integers(0, 2**32))
def test_a_random_edit_leaves_every_request_with_an_answer(seed: int) -> None:
    """Cut, paste and delete anywhere; nothing is written to the log."""
    try_edits(seed, shared())


@pytest.mark.thorough
@settings(max_examples=settings().max_examples * 2, deadline=None)
@given(st.integers(0, 2**32))
def test_many_random_edits_leave_every_request_with_an_answer(seed: int) -> None:
    """The same, more often."""
    try_edits(seed, shared())


if __name__ == "__main__":
    count = int(sys.argv[1])
    begin = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    for number in range(begin, begin + count):
        try:
            try_edits(number, shared())
        except BaseException:
            sys.stderr.write(f"seed {number}\n")
            raise
    sys.stdout.write(f"{count} edits from seed {begin} on without an error\n")
