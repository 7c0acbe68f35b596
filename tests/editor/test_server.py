"""The server itself, with a real client over standard input and output (pytest-lsp)."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from concurrent.futures import Future
from pathlib import Path

import pytest

pytest.importorskip("pygls", reason="the extra 'editor' is not installed")
pytest_lsp = pytest.importorskip("pytest_lsp", reason="pytest-lsp is not installed")

from lsprotocol import types as lsp  # noqa: E402
from pygls.exceptions import JsonRpcException  # noqa: E402
from pytest_lsp import ClientServerConfig, LanguageClient  # noqa: E402

from modecheck.editor.settings import Settings, settings_from  # noqa: E402
from tests.cli.running import environment  # noqa: E402
from tests.editor.texts import MODELS, TANDEM, changed, cut  # noqa: E402

PATIENCE = 60
"""Seconds for an answer on a machine that is busy."""

DEVICE = TANDEM / "device.yaml"
SMALL = """\
device: é🎸
chips:
  a: {states: {x: {}, y: {}}, rules: {go: {in: x, if: b.state == p, to: y}}}
  b: {states: [p, q, r], rules: {leave: {in: p, to: q}, back: {in: r, to: p}}}
"""
"""It hangs in two ways, and one state is never reached; its name goes beyond 16 bits."""


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
    """An error at its UTF-16 position; once it is gone, the findings of a check, hints behind what
    it never saw, and actions.
    """
    path = tmp_path / "device.yaml"
    text = SMALL + "modes: {𝒂é: a.state == w}\n"  # the first letter takes two code units
    uri = open_text(client, path, text)
    (error,) = await shown(client, uri, code=None)
    assert error.message == "a has no state 'w'; expected one of x, y"
    assert (error.range.start.line, error.range.start.character) == (4, 24)
    change(client, uri, SMALL, 2)
    found = await shown(client, uri, code="deadlock")
    assert {one.code for one in found} == {"deadlock", "unreachable-state"}
    deadlocks = [one for one in found if one.code == "deadlock"]
    assert [len(one.related_information or ()) for one in deadlocks] == [1, 2]
    document = lsp.TextDocumentIdentifier(uri)
    everything = lsp.Range(lsp.Position(0, 0), lsp.Position(9, 0))
    hints = await client.text_document_inlay_hint_async(lsp.InlayHintParams(document, everything))
    assert [one.label for one in hints or ()] == ["unreachable", "never taken"]
    context = lsp.CodeActionContext(found)
    offered = await client.text_document_code_action_async(
        lsp.CodeActionParams(document, deadlocks[0].range, context)
    )
    assert "accept deadlock:a.x+b.q, with a reason" in [one.title for one in offered or ()]
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


@pytest.mark.thorough
@pytest.mark.asyncio(loop_scope="module")
async def test_an_incomplete_check_is_shown_as_such(client: LanguageClient) -> None:
    """Tandem has more states than the configuration allows."""
    path = MODELS / "published" / "eight_puzzle.yaml"
    uri = open_text(client, path, path.read_text(encoding="utf-8"))
    found = await shown(client, uri, code=None)
    assert any(one.message.startswith("incomplete: checked ") for one in found)


NAMES = """\
device: names
chips:
  left_pedal: {file: pedal.yaml, with: {side: left}}
  right_pedal: {file: pedal.yaml, with: {side: right}}
  hub: {states: {𝒂é: {rest: true}}, discards: [left_step, right_step]}
links:
  left_air: {from: left_pedal, to: hub, carries: [left_step]}
  right_air: {from: right_pedal, to: hub, carries: [right_step]}
modes: {m: hub.state == 𝒂é and left_pedal.up}
"""
PEDAL = """\
# modecheck
chip: pedal
parameters: {side: null}
states: {up: {rest: true}, down: {rest: true}, lost: {}}
rules:
  press: {in: up, send: ["{side}_step via {side}_air"], to: down}
"""


@pytest.fixture
def two_files(client: LanguageClient, tmp_path: Path) -> Iterator[tuple[str, str]]:
    """A device and its chip, both open and neither on the disk."""
    device = open_text(client, tmp_path / "device.yaml", NAMES)
    pedal = open_text(client, tmp_path / "pedal.yaml", PEDAL)
    yield device, pedal
    for uri in (device, pedal):
        document = lsp.TextDocumentIdentifier(uri)
        client.text_document_did_close(lsp.DidCloseTextDocumentParams(document))


def at(uri: str, text: str, mark: str, back: int = 0) -> dict[str, object]:
    """The text and the position right before a mark, in UTF-16."""
    before = text[: text.index(mark) + len(mark) - back].split("\n")
    character = len(before[-1].encode("utf-16-le")) // 2
    where = lsp.Position(len(before) - 1, character)
    return {"text_document": lsp.TextDocumentIdentifier(uri), "position": where}


@pytest.mark.asyncio(loop_scope="module")
async def test_names_lead_to_each_other(client: LanguageClient, two_files: tuple[str, str]) -> None:
    """Definition and references across files; positions in UTF-16 behind a name beyond ASCII."""
    device, pedal = two_files
    found = await client.text_document_definition_async(
        lsp.DefinitionParams(**at(pedal, PEDAL, "via {side}_a"))  # type: ignore[arg-type]
    )
    assert isinstance(found, list)
    assert [(one.uri, one.range.start.line) for one in found if isinstance(one, lsp.Location)] == [
        (device, 6),
        (device, 7),
    ]
    used = await client.text_document_references_async(
        lsp.ReferenceParams(
            **at(device, NAMES, "and left_pedal.u"),  # type: ignore[arg-type]
            context=lsp.ReferenceContext(include_declaration=False),
        )
    )
    places = {(one.uri, one.range.start.line, one.range.start.character) for one in used or ()}
    # `modes: {m: hub.state == 𝒂é and left_pedal.` with the first letter of the state as two units
    assert places == {(device, 8, 43), (pedal, 5, 14)}


@pytest.mark.asyncio(loop_scope="module")
async def test_a_name_is_changed_in_both_files(
    client: LanguageClient, two_files: tuple[str, str]
) -> None:
    """With its parameter; a name that cannot be given is refused with the reason."""
    device, pedal = two_files
    place = at(pedal, PEDAL, "via {side}_a")
    edit = await client.text_document_rename_async(
        lsp.RenameParams(**place, new_name="{side}_radio")  # type: ignore[arg-type]
    )
    assert edit is not None
    changes = edit.changes or {}
    assert sorted(one.new_text for one in changes[device]) == ["left_radio", "right_radio"]
    assert [one.new_text for one in changes[pedal]] == ["{side}_radio"]
    with pytest.raises(JsonRpcException, match="has to contain 'left'"):
        await client.text_document_rename_async(
            lsp.RenameParams(**at(device, NAMES, "  left_a"), new_name="air")  # type: ignore[arg-type]
        )


@pytest.mark.asyncio(loop_scope="module")
async def test_a_text_is_told_of(client: LanguageClient, two_files: tuple[str, str]) -> None:
    """Hover, outline, folds, symbols and colours."""
    device, pedal = two_files
    told = await client.text_document_hover_async(lsp.HoverParams(**at(pedal, PEDAL, "  pre")))  # type: ignore[arg-type]
    assert told is not None
    assert isinstance(told.contents, lsp.MarkupContent)
    assert "sends `{side}_step via {side}_air`, goes to `down`" in told.contents.value
    document = lsp.TextDocumentIdentifier(device)
    outline = await client.text_document_document_symbol_async(lsp.DocumentSymbolParams(document))
    assert [one.name for one in outline or ()][:3] == ["left_pedal", "right_pedal", "hub"]
    folds = await client.text_document_folding_range_async(lsp.FoldingRangeParams(document))
    assert [(one.start_line, one.end_line) for one in folds or ()] == [(1, 4), (5, 7)]
    symbols = await client.workspace_symbol_async(lsp.WorkspaceSymbolParams("lftair"))
    assert [one.name for one in symbols or ()] == ["left_air"]
    colours = await client.text_document_semantic_tokens_full_async(
        lsp.SemanticTokensParams(document)
    )
    assert colours is not None
    assert list(colours.data[:3]) == [8, 11, 3]


MALFORMED = (
    b"{",
    b"[]",
    b'{"jsonrpc": "2.0"}',
    b'{"jsonrpc": "2.0", "method": 5, "params": []}',
    b"\xff\xfe",
)


async def send(client: LanguageClient, body: bytes) -> None:
    """Send bytes as they are, with their length before them."""
    writer = client.protocol.writer
    assert writer is not None
    sent = writer.write(b"Content-Length: %d\r\n\r\n%s" % (len(body), body))
    if sent is not None:
        await sent


@pytest.mark.asyncio(loop_scope="module")
async def test_what_is_malformed_is_answered_with_an_error(
    client: LanguageClient, tmp_path: Path
) -> None:
    """And the next request as if nothing had happened: no JSON, wrong parameters, no such method,
    positions outside of the text, texts that do not exist, files that are based on each other.
    """
    for body in MALFORMED:
        await send(client, body)
    answer: Future[object] = Future()
    client.protocol._request_futures["odd"] = answer
    odd = {"jsonrpc": "2.0", "id": "odd", "method": "textDocument/hover", "params": {"position": 1}}
    await send(client, json.dumps(odd).encode())
    with pytest.raises(JsonRpcException):
        await asyncio.wait_for(asyncio.wrap_future(answer), PATIENCE)
    with pytest.raises(JsonRpcException):
        await client.protocol.send_request_async("textDocument/noSuchThing", {})  # type: ignore[no-untyped-call]
    text = "device: x\nbased_on: device.yaml\nchips: {a: {file: gone.yaml}}\n"
    uri = open_text(client, tmp_path / "device.yaml", text)
    outside = lsp.Position(2**31 - 1, 2**31 - 1)
    for one in (uri, (tmp_path / "gone.yaml").as_uri(), "untitled:x", "http://[", "file:///\0"):
        document = lsp.TextDocumentIdentifier(one)
        await client.text_document_hover_async(lsp.HoverParams(document, outside))
        await client.text_document_completion_async(lsp.CompletionParams(document, outside))
        await client.text_document_folding_range_async(lsp.FoldingRangeParams(document))
        await client.text_document_semantic_tokens_full_async(lsp.SemanticTokensParams(document))
    found = await shown(client, uri, code=None)
    assert "a cycle of files" in found[0].message


@pytest.mark.thorough
@pytest.mark.asyncio(loop_scope="module")
async def test_a_scenario_is_opened(client: LanguageClient, tmp_path: Path) -> None:
    """The page is written, and its address is that of the finding in it."""
    uri = open_text(client, tmp_path / "device.yaml", SMALL)
    await shown(client, uri, code="deadlock")
    path = str(tmp_path / "device.yaml")
    address = await client.workspace_execute_command_async(
        lsp.ExecuteCommandParams("modecheck.open_scenario", [path, "deadlock:a.x+b.q"])
    )
    page, _, anchor = str(address).removeprefix("file://").partition("#")
    html = Path(page).read_text(encoding="utf-8")
    assert "deadlock:a.x+b.q" in html
    assert anchor == "deadlock%3Aa.x%2Bb.q"


def spoken(*messages: dict[str, object]) -> subprocess.Popen[bytes]:
    """A server that was told these messages."""
    server = subprocess.Popen(
        [sys.executable, "-m", "modecheck", "language-server"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(),
    )  # fmt: skip
    assert server.stdin is not None
    for one in messages:
        body = json.dumps({"jsonrpc": "2.0", **one}).encode()
        server.stdin.write(b"Content-Length: %d\r\n\r\n%s" % (len(body), body))
    server.stdin.flush()
    return server


def started(process: int | None = None, **can: object) -> dict[str, object]:
    """The first request of an editor with this process, and with what it can do."""
    params = {"processId": process, "rootUri": None, "capabilities": can}
    return {"id": 1, "method": "initialize", "params": params}


def test_a_whole_conversation_is_held_as_agreed() -> None:
    """Positions count bytes, if both agree on that; an editor that can watch files is asked to; and
    requests after the shutdown are answered with an error.
    """
    uri = "file:///nowhere/device.yaml"
    text = "device: x\nmodes: {'𝒂': y}\n"
    document = {"uri": uri, "languageId": "yaml", "version": 1, "text": text}
    server = spoken(
        started(
            general={"positionEncodings": ["utf-8"]},
            workspace={"didChangeWatchedFiles": {"dynamicRegistration": True}},
        ),
        {"method": "initialized", "params": {}},
        {"method": "textDocument/didOpen", "params": {"textDocument": document}},
        {"id": 2, "method": "textDocument/documentSymbol",
         "params": {"textDocument": {"uri": uri}}},
        {"id": 3, "method": "shutdown"},
        {"id": 4, "method": "workspace/symbol", "params": {"query": ""}},
        {"method": "exit"},
    )  # fmt: skip
    answer, told = server.communicate(timeout=PATIENCE)
    answered = answer.decode().replace(" ", "")
    assert server.returncode == 0
    assert '"positionEncoding":"utf-8"' in answered
    assert '"end":{"line":1,"character":17}' in answered  # the letter takes four bytes
    assert '"globPattern":"**/*.yaml"' in answered
    assert "-32600" in answered
    assert told == b""


@pytest.mark.thorough
def test_a_server_ends_with_its_editor() -> None:
    """Whether it says nothing any more, or is gone though something keeps the connection open."""
    server = spoken(started())
    server.communicate(timeout=PATIENCE)
    assert server.returncode == 1
    editor = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    server = spoken(started(editor.pid))
    assert server.stdout is not None
    server.stdout.read(1)
    editor.communicate(timeout=PATIENCE)
    assert server.wait(timeout=PATIENCE) == 1
    server.communicate()


def test_settings_are_taken_and_errors_in_them_are_told() -> None:
    """A wrong value leaves the setting as it was."""
    settings, wrong = settings_from({"modecheck": {"states": 5, "delay": "x", "speed": 1}})
    assert (settings.states, settings.delay) == (5, Settings().delay)
    assert wrong == [
        "'delay' cannot be 'x'; expected a number of at least 0",
        "unknown setting 'speed'; expected one of check, states, seconds, delay",
    ]
    assert settings_from([1])[1] == ["the settings are [1]; expected a mapping"]


@pytest.mark.thorough
@pytest.mark.asyncio(loop_scope="module")
async def test_settings_can_be_asked_for() -> None:
    """An editor that keeps settings is asked for those under our name, and may change them."""
    config = ClientServerConfig(
        server_command=[sys.executable, "-m", "modecheck", "language-server"],
        server_env=environment(),
    )
    client = await config.start()
    assert isinstance(client, LanguageClient)
    client.set_configuration({"modecheck": {"states": 500, "delay": 0}})
    can = lsp.ClientCapabilities(workspace=lsp.WorkspaceClientCapabilities(configuration=True))
    await client.initialize_session(lsp.InitializeParams(capabilities=can))
    path = MODELS / "published" / "eight_puzzle.yaml"
    uri = open_text(client, path, path.read_text(encoding="utf-8"))
    (told,) = await shown(client, uri, code=None)
    assert "stopped by the bound of 500 states" in told.message
    await client.shutdown_session()
    await client.stop()  # type: ignore[no-untyped-call]
