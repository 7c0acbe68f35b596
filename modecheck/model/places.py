"""Where something is in a file, so that every error and finding can point at it."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Source:
    """A file that was read: its name as shown to the user, and its lines.

    Two sources are equal when their names are, so that places can be compared and hashed.
    """

    name: str
    lines: tuple[str, ...] = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Place:
    """A part of one line. Line and column count from 1, `width` is in characters."""

    source: Source
    line: int
    column: int
    width: int = field(default=1, compare=False)

    @property
    def file(self) -> str:
        return self.source.name

    @property
    def text(self) -> str:
        """The whole line, or nothing if the place is past the end of the file."""
        lines = self.source.lines
        return lines[self.line - 1] if self.line <= len(lines) else ""

    def part(self, offset: int, width: int) -> Place:
        """The place `offset` characters further on in the same line."""
        return Place(self.source, self.line, self.column + offset, max(width, 1))

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"
