"""Problems, completions and the like in the types of the Language Server Protocol."""

from __future__ import annotations

from collections.abc import Iterable

from lsprotocol import types as lsp

from modecheck.editor.actions import QuickFix
from modecheck.editor.completion import Completion
from modecheck.editor.diagnostics import Maps, Problem, Related
from modecheck.editor.hints import Hint
from modecheck.editor.hover import Hover
from modecheck.editor.mentions import Mention
from modecheck.editor.navigation import OutlineEntry
from modecheck.editor.positions import Position, TextMap, TextSpan
from modecheck.editor.rename import Edit
from modecheck.editor.session import EditorSession
from modecheck.editor.workspace import path_of


def position(given: lsp.Position) -> Position:
    """A position, which may lie anywhere."""
    return Position(given.line, given.character)


def range_of(text: TextMap, span: TextSpan) -> lsp.Range:
    """The range of a span."""
    start, end = text.position(span.start), text.position(span.end)
    return lsp.Range(
        lsp.Position(start.line, start.character), lsp.Position(end.line, end.character)
    )


def published(session: EditorSession, path: str) -> lsp.PublishDiagnosticsParams:
    """All that is wrong in a file, given by its real path."""
    workspace = session.workspace
    buffer = workspace.buffers.get(path)
    text = workspace.map_of(path)
    problems = session.upkeep.problems_of(path)
    return lsp.PublishDiagnosticsParams(
        uri=workspace.uri_of(path),
        diagnostics=[_diagnostic(session, text, one) for one in problems],
        version=buffer.version if buffer else None,
    )


def _diagnostic(session: EditorSession, text: TextMap, problem: Problem) -> lsp.Diagnostic:
    return lsp.Diagnostic(
        range=range_of(text, problem.span),
        message=problem.message,
        severity=lsp.DiagnosticSeverity(problem.severity),
        code=problem.code or None,
        source="modecheck",
        related_information=[_related(session, one) for one in problem.related] or None,
        data={"subject": problem.subject} if problem.subject else None,
    )


def _related(session: EditorSession, related: Related) -> lsp.DiagnosticRelatedInformation:
    workspace = session.workspace
    where = range_of(workspace.map_of(related.path), related.span)
    location = lsp.Location(workspace.uri_of(related.path), where)
    return lsp.DiagnosticRelatedInformation(location, related.message)


KINDS = {
    "key": lsp.CompletionItemKind.Property,
    "state": lsp.CompletionItemKind.EnumMember,
    "word": lsp.CompletionItemKind.EnumMember,
    "chip": lsp.CompletionItemKind.Module,
    "actor": lsp.CompletionItemKind.Module,
    "link": lsp.CompletionItemKind.Interface,
    "message": lsp.CompletionItemKind.Event,
    "signal": lsp.CompletionItemKind.Event,
    "variable": lsp.CompletionItemKind.Variable,
    "parameter": lsp.CompletionItemKind.TypeParameter,
    "constant": lsp.CompletionItemKind.Constant,
    "rule": lsp.CompletionItemKind.Method,
    "function": lsp.CompletionItemKind.Function,
    "keyword": lsp.CompletionItemKind.Keyword,
    "file": lsp.CompletionItemKind.File,
    "unit": lsp.CompletionItemKind.Unit,
}


def completion_list(
    session: EditorSession, uri: str, found: list[Completion]
) -> lsp.CompletionList:
    """What is offered, in its order."""
    text = session.workspace.map_of(path_of(uri))
    items = [
        lsp.CompletionItem(
            label=one.label,
            kind=KINDS.get(one.kind, lsp.CompletionItemKind.Value),
            detail=one.kind,
            documentation=lsp.MarkupContent(lsp.MarkupKind.Markdown, one.about)
            if one.about
            else None,
            sort_text=f"{number:05}",
            filter_text=one.text,
            text_edit=lsp.TextEdit(range_of(text, one.span), one.text),
        )
        for number, one in enumerate(found)
    ]
    return lsp.CompletionList(is_incomplete=False, items=items)


def _markdown(text: str) -> lsp.MarkupContent | None:
    return lsp.MarkupContent(lsp.MarkupKind.Markdown, text) if text else None


def hover_of(session: EditorSession, uri: str, found: Hover) -> lsp.Hover:
    """What is known of a word."""
    text = session.workspace.map_of(path_of(uri))
    content = lsp.MarkupContent(lsp.MarkupKind.Markdown, found.text)
    return lsp.Hover(content, range_of(text, found.span))


def locations(session: EditorSession, places: list[tuple[str, TextSpan]]) -> list[lsp.Location]:
    """Places in files."""
    workspace, maps = session.workspace, Maps(session.workspace)
    return [
        lsp.Location(workspace.uri_of(path), range_of(maps.of(path), span)) for path, span in places
    ]


SYMBOLS = {
    "chip": lsp.SymbolKind.Module,
    "link": lsp.SymbolKind.Interface,
    "message": lsp.SymbolKind.Event,
    "signal": lsp.SymbolKind.Event,
    "state": lsp.SymbolKind.EnumMember,
    "variable": lsp.SymbolKind.Variable,
    "parameter": lsp.SymbolKind.TypeParameter,
    "constant": lsp.SymbolKind.Constant,
    "own_constant": lsp.SymbolKind.Constant,
    "rule": lsp.SymbolKind.Method,
    "requirement": lsp.SymbolKind.Property,
    "enumeration": lsp.SymbolKind.Enum,
    "list": lsp.SymbolKind.Array,
}


def document_symbols(
    session: EditorSession, uri: str, entries: list[OutlineEntry]
) -> list[lsp.DocumentSymbol]:
    """The named parts of a text, one within the other."""
    return _symbols(session.workspace.map_of(path_of(uri)), entries)


def _symbols(text: TextMap, entries: list[OutlineEntry]) -> list[lsp.DocumentSymbol]:
    return [
        lsp.DocumentSymbol(
            name=one.label or "…",
            kind=SYMBOLS.get(one.kind, lsp.SymbolKind.Key),
            range=range_of(text, one.whole),
            selection_range=range_of(text, one.name),
            detail=one.about or None,
            children=_symbols(text, one.inside),
        )
        for one in entries
    ]


def symbols(session: EditorSession, mentions: list[Mention]) -> list[lsp.WorkspaceSymbol]:
    """Parts with their places."""
    places = locations(session, [(one.path, one.span) for one in mentions])
    return [
        lsp.WorkspaceSymbol(
            location=place,
            name=one.symbol.name,
            kind=SYMBOLS.get(one.symbol.kind, lsp.SymbolKind.Key),
            container_name=one.symbol.kind.removeprefix("own_"),
        )
        for one, place in zip(mentions, places, strict=True)
    ]


def workspace_edit(session: EditorSession, edits: Iterable[Edit]) -> lsp.WorkspaceEdit:
    """Edits of several files."""
    workspace, maps = session.workspace, Maps(session.workspace)
    changes: dict[str, list[lsp.TextEdit]] = {}
    for one in edits:
        where = range_of(maps.of(one.path), one.span)
        changes.setdefault(workspace.uri_of(one.path), []).append(lsp.TextEdit(where, one.text))
    return lsp.WorkspaceEdit(changes={**changes})


def code_actions(session: EditorSession, found: list[QuickFix]) -> list[lsp.CodeAction]:
    """What can be done about problems."""
    return [
        lsp.CodeAction(
            title=one.title,
            kind=lsp.CodeActionKind.QuickFix,
            diagnostics=[
                _diagnostic(session, session.workspace.map_of(one.problem.path), one.problem)
            ],
            edit=workspace_edit(session, one.edits) if one.edits else None,
            command=lsp.Command(one.title, one.command, arguments=list(one.arguments))
            if one.command
            else None,
        )
        for one in found
    ]


def inlay_hints(
    session: EditorSession, uri: str, within: lsp.Range, found: list[Hint]
) -> list[lsp.InlayHint]:
    """Remarks behind names, as far as they are in the range that is shown."""
    text = session.workspace.map_of(path_of(uri))
    hints = []
    for one in found:
        place = text.position(one.offset)
        if within.start.line <= place.line <= within.end.line:
            where = lsp.Position(place.line, place.character)
            hints.append(lsp.InlayHint(where, one.text, padding_left=True))
    return hints
