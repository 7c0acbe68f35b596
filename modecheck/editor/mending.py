"""A text that is half written, made readable: lines that keep it from being read are closed, as far
as brackets and quotes are missing, or left blank.

Places in all other lines stay what they are.
"""

from __future__ import annotations

from modecheck.editor.positions import MODEL_BREAK
from modecheck.model.errors import InvalidInput, Notebook
from modecheck.model.yaml_nodes import MappingNode, Node, parse_yaml

MOST_BLANKED = 6
"""Lines that are changed; with more, the text is not what it was."""


MOST_ABOVE = 30
"""Lines above an error in which its cause is looked for."""


def mended(text: str) -> str:
    """The text, with as few lines changed as it takes to read it; unchanged if that is too many."""
    tree, line = _read(text)
    if isinstance(tree, MappingNode):
        return text
    lines, breaks = MODEL_BREAK.split(text), MODEL_BREAK.findall(text)
    for _ in range(MOST_BLANKED):
        suspects = _suspects(lines, line)
        changes = [(number, closed(lines[number])) for number in suspects]
        tries = [_with(lines, *change) for change in changes if change[1] != lines[change[0]]]
        tries += [_with(lines, number, "") for number in suspects]
        read = [(*_read(_joined(one, breaks)), one) for one in tries]
        good = [one for tree, _, one in read if isinstance(tree, MappingNode)]
        if good:
            return _joined(good[0], breaks)
        if not read:
            break
        _, line, lines = max(read, key=lambda one: one[1])
    return text


def _read(text: str) -> tuple[Node | None, int]:
    """The tree, or None and the line of the first error that keeps it from being read."""
    notes = Notebook()
    try:
        tree = parse_yaml("", text, notes)
        if tree is not None:
            return tree, 0  # perhaps with errors that leave one, such as a key that is given twice
        notes.raise_if_any()
    except InvalidInput as wrong:
        places = [error.place.line for error in wrong.errors if error.place is not None]
        return None, places[-1] if places else 1
    return None, 1


def _suspects(lines: list[str], line: int) -> list[int]:
    """The line of an error and the one before it in which something stands, either of which may be
    the cause, and the last one above that leaves a quote open, which may be far away.
    """
    at = max(min(line, len(lines)), 1) - 1
    found = [at] if lines[at].strip() else []
    above = range(at - 1, -1, -1)
    before = next((n for n in above if lines[n].strip() and lines[n].lstrip()[0] != "#"), None)
    quoted = next((n for n in above[:MOST_ABOVE] if _leaves_a_quote_open(lines[n])), None)
    return [*(one for one in (quoted, before) if one is not None), *found]


def _leaves_a_quote_open(line: str) -> bool:
    return closed(line)[len(line) : len(line) + 1] in ('"', "'")


def _with(lines: list[str], number: int, line: str) -> list[str]:
    return [*lines[:number], line, *lines[number + 1 :]]


def closed(line: str) -> str:
    """A line with the quotes and the brackets closed that it opens."""
    open_ones, quote = list[str](), ""
    for at, character in enumerate(line):
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'" and (line[:at].rstrip()[-1:] or ":") in "[{,:-":
            quote = character
        elif character in "[{":
            open_ones.append({"[": "]", "{": "}"}[character])
        elif character in "]}" and open_ones:
            open_ones.pop()
    return line + quote + "".join(reversed(open_ones))


def _joined(lines: list[str], breaks: list[str]) -> str:
    return "".join(line + end for line, end in zip(lines, [*breaks, ""], strict=True))
