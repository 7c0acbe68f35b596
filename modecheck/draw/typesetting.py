"""Breaks labels and notes into lines."""

from __future__ import annotations

from collections.abc import Sequence

from modecheck.draw.labels import LONGEST_LINE, Phrase
from modecheck.draw.lettering import wrapped
from modecheck.draw.shown import LONGEST_TEXT, shown
from modecheck.draw.sketch import INDENT, Run, TextLine


def label_lines(phrases: Sequence[Phrase], longest: int = LONGEST_LINE) -> tuple[TextLine, ...]:
    """A label in few, readable lines: it is broken before guards and effects first.

    The first line stands at the margin, the others are indented; a phrase that goes on, more so.
    """
    phrases = [Phrase(phrase.role, shown(phrase.text, LONGEST_TEXT)) for phrase in phrases]
    lines: list[TextLine] = []
    for group in _groups(phrases, longest):
        for position, runs in enumerate(_broken_group(group, longest)):
            steps = (1 if lines else 0) + (1 if position else 0)
            lines.append(TextLine(tuple(runs), min(steps, 2) * INDENT))
    return tuple(lines)


def text_lines(text: str, face: str, longest: int) -> tuple[TextLine, ...]:
    """Running text in lines of at most `longest` characters."""
    parts = wrapped(shown(text, LONGEST_TEXT), longest)
    return tuple(TextLine((Run(part, face),)) for part in parts if part)


def balanced_lines(text: str, face: str, longest: int) -> tuple[TextLine, ...]:
    """Running text in as few lines as `text_lines` makes, all about as long as each other."""
    lines = text_lines(text, face, longest)
    for shorter in range(longest - 1, longest // 2, -1):
        closer = text_lines(text, face, shorter)
        if len(closer) > len(lines):
            break
        if max(line.width for line in closer) < max(line.width for line in lines):
            lines = closer
    return lines


def _groups(phrases: Sequence[Phrase], longest: int) -> list[list[Phrase]]:
    """Phrases that share a line, or are broken together."""
    if _length(phrases) <= longest:
        return [list(phrases)]
    head = [phrase for phrase in phrases if phrase.role in ("trigger", "guard")]
    effects = [phrase for phrase in phrases if phrase not in head]
    groups = [head] if _length(head) <= longest else [[phrase] for phrase in head]
    groups += [effects] if _length(effects) <= longest else [[phrase] for phrase in effects]
    return [group for group in groups if group]


def _broken_group(group: list[Phrase], longest: int) -> list[list[Run]]:
    if _length(group) <= longest:
        return [[Run(phrase.text, phrase.role) for phrase in group]]
    return [
        [Run(part, phrase.role)] for phrase in group for part in wrapped(phrase.text, longest - 2)
    ]


def _length(phrases: Sequence[Phrase]) -> int:
    return sum(len(phrase.text) for phrase in phrases) + len(phrases) - 1
