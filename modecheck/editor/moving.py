"""Where the problems of an older text are in a newer one, until the next check is done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from modecheck.editor.diagnostics import Problem
from modecheck.editor.positions import TextSpan
from modecheck.editor.real_paths import real_path
from modecheck.editor.workspace import Workspace


def moved(span: TextSpan, old: str, new: str) -> TextSpan:
    """Where the characters of a span of `old` are in `new`, which differs in one stretch. An end
    inside of that stretch moves to where it ends.
    """
    if old == new:
        return span
    before = _alike(old, new)
    longest = min(len(old), len(new)) - before
    after = _alike(old[::-1], new[::-1])
    after = min(after, longest)

    def at(offset: int, *, start: bool) -> int:
        behind = offset >= len(old) - after
        if offset <= before and not (start and behind):
            return offset
        return offset + len(new) - len(old) if behind else len(new) - after

    start, end = at(span.start, start=True), at(span.end, start=False)
    return TextSpan(min(start, end), end)


def _alike(one: str, other: str) -> int:
    """How many characters both begin with, by halving: comparing slices is fast."""
    low, high = 0, min(len(one), len(other))
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if one[:middle] == other[:middle] else (low, middle - 1)
    return low


def moved_problems(
    problems: Iterable[Problem], texts: Mapping[str, str], workspace: Workspace
) -> list[Problem]:
    """Problems that were found in `texts` (by real path), as the texts are now."""
    found = []
    for one in problems:
        old, new = texts.get(real_path(one.path)), workspace.text_of(one.path)
        if old is None or new is None:
            continue
        found.append(replace(one, span=moved(one.span, old, new)))
    return found
