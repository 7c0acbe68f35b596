"""The server: hands the requests of an editor to the modules beside this one, and answers in the
types of the Language Server Protocol. Only this module and `protocol_types.py` know the protocol's
library.
"""

from __future__ import annotations

import functools
import logging
import sys
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from lsprotocol import types as lsp
from pygls.lsp.server import LanguageServer

from modecheck import __version__
from modecheck.editor import protocol_types as convert
from modecheck.editor.completion import completions
from modecheck.editor.positions import Position
from modecheck.editor.session import EditorSession
from modecheck.editor.settings import settings_from

T = TypeVar("T")

LONGEST_LOGGED = 400
"""Characters of a line in the log."""


class EditorServer(LanguageServer):
    """Answers one editor."""

    def __init__(self) -> None:
        super().__init__(
            "modecheck", __version__, text_document_sync_kind=lsp.TextDocumentSyncKind.Full
        )
        self.session = EditorSession(self.show_problems, tell)
        self._shown: dict[str, lsp.PublishDiagnosticsParams] = {}

    def report_server_error(self, error: Exception, source: Any) -> None:  # noqa: ARG002
        """What is wrong with a message stands in the log; the editor is not bothered with it."""
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


def make_server() -> EditorServer:
    """A server with all that it can do."""
    server = EditorServer()
    _follow_texts(server)
    _follow_settings(server)
    _answer(server)
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
        session.upkeep.touch_all()

    @server.feature(lsp.WORKSPACE_DID_CHANGE_WATCHED_FILES)
    @guarded
    def files_changed(params: lsp.DidChangeWatchedFilesParams) -> None:  # noqa: ARG001
        session.upkeep.touch_all()


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
        session.workspace.encoding = str(
            getattr(server.workspace.position_encoding, "value", None) or "utf-16"
        )
        take(params.initialization_options)

    @server.feature(lsp.WORKSPACE_DID_CHANGE_CONFIGURATION)
    @guarded
    def configured(params: lsp.DidChangeConfigurationParams) -> None:
        take(params.settings)
        session.upkeep.touch_all()

    @server.feature(lsp.SHUTDOWN)
    @guarded
    def shut_down(*params: object) -> None:  # noqa: ARG001
        session.upkeep.stop()


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


def _place(params: Any) -> tuple[str, Position]:
    """The address of a text and the position in it that a request is about."""
    return params.text_document.uri, convert.position(params.position)


class _OneLine(logging.Formatter):
    """Log lines without tracebacks: an error in a message is one line."""

    def format(self, record: logging.LogRecord) -> str:
        text = record.getMessage().strip()
        return f"modecheck: {text.splitlines()[0][:LONGEST_LOGGED] if text else ''}"


def serve(arguments: Sequence[str] = ()) -> None:  # noqa: ARG001
    """Answer on standard input and output until the editor ends it."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_OneLine())
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
    make_server().start_io()
