"""Problems, completions and the like in the types of the Language Server Protocol."""

from __future__ import annotations

from lsprotocol import types as lsp

from modecheck.editor.completion import Completion
from modecheck.editor.diagnostics import Problem, Related
from modecheck.editor.positions import Position, TextMap, TextSpan
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
