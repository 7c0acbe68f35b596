"""How wide a text is, so that boxes fit their text without reading any font.

The widths are those of Helvetica (Adobe's published Core 14 font metrics), which Arial, Liberation
Sans and Arimo share by design: a picture laid out with them fits in each of these fonts. Nothing is
read from the machine, so the same model gives the same picture everywhere.
"""

from __future__ import annotations

import unicodedata
from functools import cache

FAMILY = (
    "Helvetica, Arial, 'Liberation Sans', Arimo, 'Nimbus Sans', 'DejaVu Sans Condensed', sans-serif"
)
"""Faces that share the widths below; the last two are for machines that have none of them."""

WIDEST_FACE = 1.3
"""How much wider lines can be in what viewers use for sans-serif (measured: DejaVu Sans Bold)."""

ASCENT = 0.905
DESCENT = 0.212
"""Above and below the baseline, in parts of the size."""

UNKNOWN_WIDTH = 1050
"""For letters outside the tables: as wide as the widest Cyrillic capital, so that none is cut."""

SLACK = 6
"""Characters by which a line may be too long, where a break would leave a stub."""

_PLAIN_WIDTHS = {
    191: "'",
    222: "ijl‘’",
    260: "|",
    278: " !,./:;I[\\]ft·",
    333: "()-`r“”",
    334: "{}",
    355: '"',
    389: "*",
    400: "°",
    469: "^",
    500: "Jcksvxyz↑↓",
    549: "±≤≥≠",
    556: "#$0123456789?L_abdeghnopqu§–€«»",
    576: "µ",
    584: "+<=>~×",
    611: "FTZßø",
    667: "&ABEKPSVXY",
    722: "CDHNRUw",
    778: "GOQØ",
    833: "Mm",
    889: "%æ",
    944: "W",
    1000: "—…←→",
    1015: "@",
}
_STRONG_WIDTHS = {
    238: "'",
    278: " ,./I\\ijl·‘’",
    280: "|",
    333: "!()-:;[]`ft",
    389: "*r{}",
    400: "°",
    474: '"',
    500: "z“”↑↓",
    549: "±≤≥≠",
    556: "#$0123456789J_aceksvxy§–€«»",
    576: "µ",
    584: "+<=>^~×",
    611: "?FLTZbdghnopqußø",
    667: "EPSVXY",
    722: "&ABCDHKNRU",
    778: "GOQwØ",
    833: "M",
    889: "%mæ",
    944: "W",
    975: "@",
    1000: "—…←→",
}


def _by_letter(widths: dict[int, str]) -> dict[str, int]:
    return {letter: width for width, letters in widths.items() for letter in letters}


_TABLES = {False: _by_letter(_PLAIN_WIDTHS), True: _by_letter(_STRONG_WIDTHS)}


def text_width(text: str, size: float, *, strong: bool = False) -> float:
    """The width of one line set in `size` units, in the same units; never too small."""
    return sum(_letter_width(letter, strong) for letter in text) * size / 1000


def is_measured(text: str) -> bool:
    """Whether every character's width is known: a picture then tells viewers the line's width."""
    plain = unicodedata.normalize("NFD", text)
    return all(letter in _TABLES[False] or unicodedata.combining(letter) for letter in plain)


@cache
def _letter_width(letter: str, strong: bool) -> int:
    table = _TABLES[strong]
    if letter in table:
        return table[letter]
    if unicodedata.combining(letter):
        return 0
    base = unicodedata.normalize("NFD", letter)[0]
    if base in table:  # An accent seldom widens a letter; i and l are the exceptions.
        return max(table[base], 333)
    return UNKNOWN_WIDTH


def wrapped(text: str, longest: int) -> list[str]:
    """The text in lines of about `longest` characters, broken at spaces.

    A line that would be less than half full may be up to SLACK characters longer instead. A
    longer word is broken after `_`, `.`, `/` or `-` if it has one, else anywhere.
    Joined without spaces, the lines hold every character that is not a space.
    """
    lines = [""]
    for word in text.split():
        room = longest + (SLACK if len(lines[-1]) < longest / 2 else 0)
        if lines[-1] and len(lines[-1]) + 1 + len(word) <= room:
            lines[-1] += f" {word}"
            continue
        pieces = _pieces(word, longest)
        lines[-1:] = [lines[-1], *pieces] if lines[-1] else pieces
    return lines


def _pieces(word: str, longest: int) -> list[str]:
    pieces = []
    while len(word) > longest:
        cut = max(word.rfind(mark, 0, longest) for mark in "_./-") + 1
        cut = cut or longest
        pieces.append(word[:cut])
        word = word[cut:]
    return [*pieces, word]
