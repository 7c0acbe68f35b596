"""Texts made safe to show: characters that change how a text is read are replaced by their number.

Names and descriptions come from a model that anybody may have written. Control characters are not
allowed in SVG, and those that change the direction of writing (Unicode Standard Annex 9) could make
a picture contradict its model.
"""

from __future__ import annotations

import unicodedata

LONGEST_NAME = 48
"""Characters of a name in a picture; titles hold more of it."""

LONGEST_WORDS = 120
"""Characters of a piece of any other line: texts are broken long before that."""

LONGEST_TEXT = 600
"""Characters of a description or of a part of a rule: some ten lines."""

LONGEST_TITLE = 1000
"""Characters of what viewers show where the pointer rests."""

_UNSAID = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
"""Unicode categories of characters that are not seen, or not allowed in XML."""


def shown(text: str, longest: int) -> str:
    """The text, shortened to about `longest` characters, with every character visible."""
    if len(text) > longest:
        text = f"{text[: longest - 1]}…"
    return text if text.isascii() and text.isprintable() else "".join(map(_sign, text))


def _sign(letter: str) -> str:
    if letter in "\n\t":
        return letter
    return f"⟨U+{ord(letter):04X}⟩" if unicodedata.category(letter) in _UNSAID else letter
