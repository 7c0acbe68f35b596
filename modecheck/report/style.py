"""The look of terminal text: emphasis where a terminal can show it, plain text elsewhere."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from dataclasses import dataclass
from typing import TextIO

WIDEST = 100
"""Longer lines are hard to read, however wide the terminal."""
PIPED_WIDTH = 80


@dataclass(frozen=True, slots=True)
class Style:
    """Colour and width of one output."""

    colour: bool = False
    width: int = PIPED_WIDTH

    def bold(self, text: str) -> str:
        return self._in(text, "1")

    def error(self, text: str) -> str:
        return self._in(text, "1;31")

    def warning(self, text: str) -> str:
        return self._in(text, "1;33")

    def good(self, text: str) -> str:
        return self._in(text, "1;32")

    def faint(self, text: str) -> str:
        return self._in(text, "2")

    def _in(self, text: str, code: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self.colour else text

    def wrapped(self, text: str, indent: str = "", hanging: str | None = None) -> list[str]:
        """The text wrapped to the width; `hanging` indents all lines but the first."""
        return textwrap.wrap(
            text,
            self.width,
            initial_indent=indent,
            subsequent_indent=indent if hanging is None else hanging,
            break_long_words=False,
            break_on_hyphens=False,
        )


def style_for(stream: TextIO) -> Style:
    """Colour on a terminal only, and never when NO_COLOR is set or the terminal is dumb."""
    if not stream.isatty():
        return Style()
    colour = not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    columns = shutil.get_terminal_size((PIPED_WIDTH, 24)).columns
    return Style(colour, max(40, min(columns, WIDEST)))


def show(lines: list[str], stream: TextIO | None = None) -> None:
    """Print lines; characters that the stream cannot encode are replaced, not fatal."""
    out = stream or sys.stdout
    text = "".join(f"{line.rstrip()}\n" for line in lines)
    encoding = out.encoding or "utf-8"
    out.write(text.encode(encoding, "replace").decode(encoding))
    out.flush()
