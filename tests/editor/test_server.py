"""The server itself, with a real client over standard input and output (pytest-lsp)."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

pytest.importorskip("pygls", reason="the extra 'editor' is not installed")
pytest_lsp = pytest.importorskip("pytest_lsp", reason="pytest-lsp is not installed")

from lsprotocol import types as lsp  # noqa: E402
from pytest_lsp import ClientServerConfig, LanguageClient  # noqa: E402

from tests.cli.running import environment  # noqa: E402
from tests.editor.texts import MODELS, TANDEM, changed, cut  # noqa: E402

PATIENCE = 60
"""Seconds for an answer on a machine that is busy."""

DEVICE = TANDEM / "device.yaml"
SMALL = """\
device: é🎸
chips:
  a: {states: {x: {}, y: {}}, rules: {go: {in: x, if: b.state == p, to: y}}}
  b: {states: [p, q], rules: {leave: {in: p, to: q}}}
"""
"""A device that hangs in two ways; its name is beyond ASCII and beyond 16 bits."""


@pytest_lsp.fixture(  # type: ignore[untyped-decorator]
    scope="module",
    config=ClientServerConfig(
        server_command=[sys.executable, "-m", "modecheck", "language-server"],
        server_env=environment(),
    ),
)
async def client(lsp_client: LanguageClient) -> AsyncIterator[None]:
    """A session that checks at once."""
    await lsp_client.initialize_session(
        lsp.InitializeParams(
            capabilities=lsp.ClientCapabilities(),
            root_uri=TANDEM.as_uri(),
            initialization_options={"delay": 0, "states": 2000},
        )
    )
    yield
    await lsp_client.shutdown_session()


def open_text(client: LanguageClient, path: Path, text: str, version: int = 1) -> str:
    """Open a text under a path; its address."""
    item = lsp.TextDocumentItem(path.as_uri(), "yaml", version, text)
    client.text_document_did_open(lsp.DidOpenTextDocumentParams(item))
    return path.as_uri()


def change(client: LanguageClient, uri: str, text: str, version: int) -> None:
    """Replace a text that is open."""
    client.text_document_did_change(
        lsp.DidChangeTextDocumentParams(
            lsp.VersionedTextDocumentIdentifier(uri=uri, version=version),
            [lsp.TextDocumentContentChangeWholeDocument(text)],
        )
    )


async def shown(client: LanguageClient, uri: str, *, code: str | None) -> list[lsp.Diagnostic]:
    """Wait until a problem with this code is shown in a text; all that is shown there then."""

    async def wait() -> list[lsp.Diagnostic]:
        while True:
            found = list(client.diagnostics.get(uri, ()))
            if any(one.code == code for one in found):
                return found
            await client.wait_for_notification(lsp.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)

    return await asyncio.wait_for(wait(), PATIENCE)


@pytest.mark.asyncio(loop_scope="module")
async def test_errors_and_findings_are_shown_while_somebody_types(
    client: LanguageClient, tmp_path: Path
) -> None:
    """An error at its UTF-16 position; once it is gone, the findings of a check."""
    path = tmp_path / "device.yaml"
    text = SMALL + "modes: {𝒂é: a.state == w}\n"  # the first letter takes two code units
    uri = open_text(client, path, text)
    (error,) = await shown(client, uri, code=None)
    assert error.message == "a has no state 'w'; expected one of x, y"
    assert (error.range.start.line, error.range.start.character) == (4, 24)
    change(client, uri, SMALL, 2)
    found = await shown(client, uri, code="deadlock")
    assert {one.code for one in found} == {"deadlock"}
    steps = [one for one in found if one.related_information]
    assert steps, [one.message for one in found]
    client.text_document_did_close(lsp.DidCloseTextDocumentParams(lsp.TextDocumentIdentifier(uri)))


@pytest.mark.asyncio(loop_scope="module")
async def test_a_name_is_completed_while_the_text_is_half_written(client: LanguageClient) -> None:
    """Behind `hub.`, before anything is saved; the answer comes while a check runs."""
    text, offset = cut(changed(DEVICE, "never: laptop.sounding and", "never: hub.¦"))
    uri = open_text(client, DEVICE, text)
    before = text[:offset].split("\n")
    where = lsp.Position(len(before) - 1, len(before[-1]))
    answer = await client.text_document_completion_async(
        lsp.CompletionParams(lsp.TextDocumentIdentifier(uri), where)
    )
    assert isinstance(answer, lsp.CompletionList)
    assert {"state", "held", "wired_up"} <= {one.label for one in answer.items}


@pytest.mark.asyncio(loop_scope="module")
async def test_an_incomplete_check_is_shown_as_such(client: LanguageClient) -> None:
    """Tandem has more states than the configuration allows."""
    path = MODELS / "published" / "eight_puzzle.yaml"
    uri = open_text(client, path, path.read_text(encoding="utf-8"))
    found = await shown(client, uri, code=None)
    assert any(one.message.startswith("incomplete: checked ") for one in found)
