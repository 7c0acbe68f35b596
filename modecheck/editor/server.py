"""The server: hands the requests of an editor to the modules beside this one, and answers in the
types of the Language Server Protocol. Only this module and `protocol_types.py` know the protocol's
library.
"""

from __future__ import annotations

import asyncio
import functools
import json
import logging
import sys
from collections.abc import Callable
from typing import Any, Literal, TypeAlias, TypeVar

from lsprotocol import types as lsp
from pygls.capabilities import get_capability
from pygls.exceptions import JsonRpcException, JsonRpcInvalidRequest
from pygls.lsp.server import LanguageServer
from pygls.protocol import LanguageServerProtocol

from modecheck import __version__
from modecheck.editor import protocol_types as convert
from modecheck.editor.actions import OPEN_SCENARIO, actions
from modecheck.editor.completion import completions
from modecheck.editor.ending import end_with
from modecheck.editor.highlighting import LEGEND, coloured, encoded
from modecheck.editor.hints import hints
from modecheck.editor.hover import hover
from modecheck.editor.navigation import (
    definitions,
    folds,
    outline,
    references,
    workspace_symbols,
)
from modecheck.editor.page_writing import address_of
from modecheck.editor.positions import UTF_16, Position, TextSpan
from modecheck.editor.rename import CannotRename, nameable, renamed
from modecheck.editor.session import EditorSession
from modecheck.editor.settings import SECTION, settings_from
from modecheck.editor.upkeep import done_elsewhere
from modecheck.editor.workspace import ENDINGS, path_of

T = TypeVar("T")

PATIENCE = 10.0
"""Seconds that an editor has to tell its settings."""

CapabilityName: TypeAlias = Literal[
    "workspace.configuration",
    "workspace.did_change_watched_files.dynamic_registration",
    "workspace.inlay_hint.refresh_support",
    "window.show_document.support",
]
"""What not every editor can do."""

LONGEST_LOGGED = 400
"""Characters of a line in the log."""


class Refused(JsonRpcException):
    """A request that is understood and cannot be done (3.17, "RequestFailed")."""

    CODE = lsp.LSPErrorCodes.RequestFailed
    MESSAGE = "refused"


class EditorProtocol(LanguageServerProtocol):
    """Answers a request that is not well formed with an error, instead of not at all."""

    def structure_message(self, data: dict[str, Any]) -> Any:
        """The message, or a notification that nobody follows, once the error has been sent."""
        try:
            return super().structure_message(data)
        except JsonRpcException as wrong:
            if isinstance(data.get("id"), int | str) and "method" in data:
                self._send_response(data["id"], None, wrong.to_response_error())
            return lsp.SetTraceNotification(lsp.SetTraceParams(lsp.TraceValue.Off))

    def handle_message(self, message: Any) -> None:
        """Answers requests after a shutdown with an error (3.17, "Shutdown Request")."""
        if self._shutdown and hasattr(message, "id") and hasattr(message, "method"):
            wrong = JsonRpcInvalidRequest("the server has been shut down")
            self._send_response(message.id, None, wrong.to_response_error())
            return
        super().handle_message(message)


class EditorServer(LanguageServer):
    """Answers one editor."""

    def __init__(self) -> None:
        super().__init__(
            "modecheck",
            __version__,
            text_document_sync_kind=lsp.TextDocumentSyncKind.Full,
            protocol_cls=EditorProtocol,
        )
        self.session = EditorSession(self.show_problems, tell)
        self._shown: dict[str, lsp.PublishDiagnosticsParams] = {}
        self.is_shut_down = False

    def report_server_error(self, error: Exception, source: Any) -> None:  # noqa: ARG002
        """What is wrong with a message stands in the log; the editor is not bothered with it."""
        if not isinstance(error, Refused):
            tell(f"a message could not be handled: {error}")

    def show_problems(self, paths: set[str]) -> None:
        """Send all that is wrong in these files, as far as the editor does not have it yet."""
        for path in sorted(paths):
            published = convert.published(self.session, path)
            unknown = path not in self._shown
            nothing = not published.diagnostics and path not in self.session.workspace.buffers
            if self._shown.get(path) != published and not (unknown and nothing):
                self._shown[path] = published
                self.text_document_publish_diagnostics(published)
        if self.can("workspace.inlay_hint.refresh_support"):
            self.workspace_inlay_hint_refresh(None)

    def can(self, what: CapabilityName) -> bool:
        """Whether the editor can do something that not every editor can."""
        return bool(get_capability(self.client_capabilities, what, False))

    def watch_files(self) -> None:
        """Ask to be told of models that change outside of the editor."""
        if self.can("workspace.did_change_watched_files.dynamic_registration"):
            watched = lsp.DidChangeWatchedFilesRegistrationOptions(
                [lsp.FileSystemWatcher(f"**/*{ending}") for ending in ENDINGS]
            )
            method = lsp.WORKSPACE_DID_CHANGE_WATCHED_FILES
            registration = lsp.Registration("models", method, watched)
            self.client_register_capability(lsp.RegistrationParams([registration]))

    async def configuration(self) -> object:
        """The settings that the editor keeps for us; None where it keeps none."""
        if not self.can("workspace.configuration"):
            return None
        wanted = lsp.ConfigurationParams([lsp.ConfigurationItem(section=SECTION)])
        try:
            (given,) = await asyncio.wait_for(self.workspace_configuration_async(wanted), PATIENCE)
        except (TimeoutError, JsonRpcException, ValueError):
            return None
        return given


def tell(line: str) -> None:
    """Write a line to the log, which is standard error."""
    logging.getLogger("modecheck.editor").warning("%s", " ".join(line.split())[:LONGEST_LOGGED])


def guarded(answer: Callable[..., T]) -> Callable[..., T | None]:
    """An answer that is None where making it failed, which is told in the log."""

    @functools.wraps(answer)
    def safe(*params: Any) -> T | None:
        try:
            return answer(*params)
        except Exception as error:  # whatever a text looks like, the server goes on
            tell(f"internal error in {answer.__name__}: {type(error).__name__}: {error}")
            return None

    return safe


def refusing(answer: Callable[..., T]) -> Callable[..., T]:
    """An answer that may be refused, which the editor shows with the reason."""

    @functools.wraps(answer)
    def safe(*params: Any) -> T:
        try:
            return answer(*params)
        except CannotRename as why:
            raise Refused(str(why)) from None
        except Exception as error:  # whatever a text looks like, the server goes on
            tell(f"internal error in {answer.__name__}: {type(error).__name__}: {error}")
            raise Refused("this cannot be renamed here") from None

    return safe


def make_server() -> EditorServer:
    """A server with all that it can do."""
    server = EditorServer()
    _follow_texts(server)
    _follow_settings(server)
    _answer(server)
    _answer_about_names(server)
    _act(server)
    return server


def _follow_texts(server: EditorServer) -> None:
    session = server.session

    @server.feature(lsp.TEXT_DOCUMENT_DID_OPEN)
    @guarded
    def opened(params: lsp.DidOpenTextDocumentParams) -> None:
        document = params.text_document
        session.put(document.uri, document.text, document.version)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CHANGE)
    @guarded
    def changed(params: lsp.DidChangeTextDocumentParams) -> None:
        document = params.text_document
        for change in params.content_changes:
            given = getattr(change, "range", None)
            if given is None:
                session.put(document.uri, change.text, document.version)
            else:
                start, end = convert.position(given.start), convert.position(given.end)
                session.put_part(document.uri, start, end, change.text, document.version)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CLOSE)
    @guarded
    def closed(params: lsp.DidCloseTextDocumentParams) -> None:
        session.close(params.text_document.uri)

    @server.feature(lsp.TEXT_DOCUMENT_DID_SAVE)
    @guarded
    def saved(params: lsp.DidSaveTextDocumentParams) -> None:  # noqa: ARG001
        session.files_changed()

    @server.feature(lsp.WORKSPACE_DID_CHANGE_WATCHED_FILES)
    @guarded
    def files_changed(params: lsp.DidChangeWatchedFilesParams) -> None:  # noqa: ARG001
        session.files_changed()


def _follow_settings(server: EditorServer) -> None:
    session = server.session

    def take(given: object) -> None:
        settings, wrong = settings_from(given, session.upkeep.settings)
        session.upkeep.settings = settings
        for sentence in wrong:
            tell(sentence)
            message = lsp.ShowMessageParams(lsp.MessageType.Warning, f"modecheck: {sentence}")
            server.window_show_message(message)

    @server.feature(lsp.INITIALIZE)
    @guarded
    def initialize(params: lsp.InitializeParams) -> None:
        agreed = server.workspace.position_encoding  # a member of an enumeration, or its value
        session.workspace.encoding = str(getattr(agreed, "value", agreed) or UTF_16)
        folders = [one.uri for one in params.workspace_folders or ()] or [params.root_uri or ""]
        session.workspace.roots = tuple(path_of(uri) for uri in folders if uri)
        take(params.initialization_options)
        if params.process_id is not None:
            end_with(params.process_id)

    @server.feature(lsp.INITIALIZED)
    async def initialized(params: lsp.InitializedParams) -> None:  # noqa: ARG001
        server.watch_files()
        take(await server.configuration())

    @server.feature(lsp.WORKSPACE_DID_CHANGE_CONFIGURATION)
    async def configured(params: lsp.DidChangeConfigurationParams) -> None:
        take(params.settings if params.settings else await server.configuration())
        session.upkeep.touch_all()

    @server.feature(lsp.SHUTDOWN)
    @guarded
    def shut_down(*params: object) -> None:  # noqa: ARG001
        session.upkeep.stop()
        server.is_shut_down = True


def _answer(server: EditorServer) -> None:
    session = server.session

    @server.feature(
        lsp.TEXT_DOCUMENT_COMPLETION,
        lsp.CompletionOptions(trigger_characters=[" ", ".", "{", "[", "(", ":", ",", '"']),
    )
    @guarded
    def complete(params: lsp.CompletionParams) -> lsp.CompletionList | None:
        place = _place(params)
        return convert.completion_list(session, place[0], completions(session, *place))

    @server.feature(lsp.TEXT_DOCUMENT_HOVER)
    @guarded
    def hovered(params: lsp.HoverParams) -> lsp.Hover | None:
        place = _place(params)
        found = hover(session, *place)
        return convert.hover_of(session, place[0], found) if found else None

    @server.feature(lsp.TEXT_DOCUMENT_FOLDING_RANGE)
    @guarded
    def folded(params: lsp.FoldingRangeParams) -> list[lsp.FoldingRange]:
        found = folds(session, params.text_document.uri)
        return [lsp.FoldingRange(first, last) for first, last in found]

    @server.feature(
        lsp.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL, lsp.SemanticTokensLegend(list(LEGEND), [])
    )
    @guarded
    def colours(params: lsp.SemanticTokensParams) -> lsp.SemanticTokens:
        return lsp.SemanticTokens(encoded(coloured(session, params.text_document.uri)))

    @server.feature(lsp.TEXT_DOCUMENT_INLAY_HINT)
    @guarded
    def hinted(params: lsp.InlayHintParams) -> list[lsp.InlayHint]:
        uri = params.text_document.uri
        return convert.inlay_hints(session, uri, params.range, hints(session, uri))


def _answer_about_names(server: EditorServer) -> None:
    session = server.session

    @server.feature(lsp.TEXT_DOCUMENT_DEFINITION)
    @guarded
    def defined(params: lsp.DefinitionParams) -> list[lsp.Location]:
        return convert.locations(session, definitions(session, *_place(params)))

    @server.feature(lsp.TEXT_DOCUMENT_REFERENCES)
    @guarded
    def referred(params: lsp.ReferenceParams) -> list[lsp.Location]:
        declared = params.context.include_declaration
        found = references(session, *_place(params), declared=declared)
        return convert.locations(session, found)

    @server.feature(lsp.TEXT_DOCUMENT_DOCUMENT_SYMBOL)
    @guarded
    def outlined(params: lsp.DocumentSymbolParams) -> list[lsp.DocumentSymbol]:
        uri = params.text_document.uri
        return convert.document_symbols(session, uri, outline(session, uri))

    @server.feature(lsp.WORKSPACE_SYMBOL)
    @guarded
    def found_anywhere(params: lsp.WorkspaceSymbolParams) -> list[lsp.WorkspaceSymbol]:
        return convert.symbols(session, workspace_symbols(session, params.query))

    @server.feature(lsp.TEXT_DOCUMENT_PREPARE_RENAME)
    @refusing
    def prepare(params: lsp.PrepareRenameParams) -> lsp.PrepareRenamePlaceholder:
        place = _place(params)
        one = nameable(session, *place)
        where = convert.range_of(session.workspace.map_of(one.path), one.span)
        return lsp.PrepareRenamePlaceholder(where, one.written)

    @server.feature(lsp.TEXT_DOCUMENT_RENAME, lsp.RenameOptions(prepare_provider=True))
    @refusing
    def rename(params: lsp.RenameParams) -> lsp.WorkspaceEdit:
        edits = renamed(session, *_place(params), params.new_name)
        return convert.workspace_edit(session, edits)


def _act(server: EditorServer) -> None:
    session = server.session

    @server.feature(
        lsp.TEXT_DOCUMENT_CODE_ACTION, lsp.CodeActionOptions([lsp.CodeActionKind.QuickFix])
    )
    @guarded
    def offered(params: lsp.CodeActionParams) -> list[lsp.CodeAction]:
        uri = params.text_document.uri
        text = session.workspace.map_of(path_of(uri))
        ends = params.range.start, params.range.end
        span = TextSpan(*(text.offset(convert.position(end)) for end in ends))
        return convert.code_actions(session, actions(session, uri, span))

    @server.command(OPEN_SCENARIO)
    async def open_scenario(device: str, finding: str) -> str | None:
        request = session.upkeep.request_for(device)
        try:
            written = await done_elsewhere("page_writing", request)
        except TimeoutError:
            written = b""
        if not written:
            message = "the page could not be written: the device cannot be checked in time"
            server.window_show_message(lsp.ShowMessageParams(lsp.MessageType.Warning, message))
            return None
        address = address_of(json.loads(written), finding)
        if server.can("window.show_document.support"):
            server.window_show_document(lsp.ShowDocumentParams(address, external=True))
        else:
            said = lsp.ShowMessageParams(lsp.MessageType.Info, f"the scenario: {address}")
            server.window_show_message(said)
        return address


def _place(params: Any) -> tuple[str, Position]:
    """The address of a text and the position in it that a request is about."""
    return params.text_document.uri, convert.position(params.position)


def _is_news(record: logging.LogRecord) -> bool:
    """Whether a line of the log is about something that went wrong."""
    return not (record.exc_info and isinstance(record.exc_info[1], Refused))


class _OneLine(logging.Formatter):
    """Log lines without tracebacks: an error in a message is one line."""

    def format(self, record: logging.LogRecord) -> str:
        text = record.getMessage().strip()
        return f"modecheck: {text.splitlines()[0][:LONGEST_LOGGED] if text else ''}"


def serve() -> int:
    """Answer on standard input and output until the editor ends it; the exit code, which is 1 if it
    did so without a shutdown before (3.17, "Exit Notification").
    """
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_OneLine())
    handler.addFilter(_is_news)
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
    server = make_server()
    server.start_io()
    return 0 if server.is_shut_down else 1
