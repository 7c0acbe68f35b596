"""Names in C: what a name of the model becomes, and which names come out the same.

Every name outside of a function begins with the name of the chip, so none is a keyword or a name
of C's library; a member of the struct that would be one gets an underscore.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from modecheck.model.errors import InputError, InvalidInput
from modecheck.model.places import Place

_KEYWORDS = """
alignas alignof asm auto bool break case char const constexpr continue default do double else enum
extern false float for goto if inline int long nullptr register restrict return short signed sizeof
static static_assert struct switch thread_local true typedef typeof typeof_unqual union unsigned
void volatile while
"""
KEYWORDS = frozenset(_KEYWORDS.split())
"""Of C99 (ISO/IEC 9899:1999, 6.4.1) and of C23, with the macros of <stdbool.h>; from memory."""

MOST_OF_A_NAME = 63
"""Characters of an internal name that every compiler of C99 tells apart (5.2.4.1)."""


def identifier(text: str) -> str:
    """Letters, digits and underscores for any name: another letter becomes its code, and all else
    one underscore.
    """
    plain = "".join(
        one if one.isascii() or not one.isalnum() else f"u{ord(one):04x}"
        for one in text.replace("#", "_no_")
    )
    return re.sub(r"[^A-Za-z0-9]+", "_", plain).strip("_") or "_"


@dataclass(slots=True)
class CNames:
    """The names of one chip's C code; `prefix` begins all that others can see.

    Each name is claimed by what it stands for. Errors are kept until `need_distinct`.
    """

    chip: str
    place: Place
    prefix: str = ""
    _claimed: dict[str, str] = field(default_factory=dict)
    _errors: list[InputError] = field(default_factory=list)

    def __post_init__(self) -> None:
        plain = identifier(self.chip)
        self.prefix = plain if plain[0].isalpha() else f"chip_{plain}".rstrip("_")

    def name(self, *parts: str, of: str = "", place: Place | None = None) -> str:
        """A name such as `hub_on_air_hello`, claimed by `of` (told in words) if that is given."""
        return self._claim("_".join([self.prefix, *map(identifier, parts)]), of, place)

    def constant(self, *parts: str, of: str = "", place: Place | None = None) -> str:
        """A name such as `HUB_STATE_LINKED`."""
        return self._claim("_".join([self.prefix, *map(identifier, parts)]).upper(), of, place)

    def member(self, text: str, of: str = "", place: Place | None = None) -> str:
        """A member of the chip's struct."""
        plain = identifier(text)
        if plain in KEYWORDS or not (plain[0].isalpha() or plain[0] == "_"):
            plain = f"{plain}_" if plain[0].isalpha() else f"_{plain}"
        self._claim(f"{self.prefix}.{plain}", of, place)
        return plain

    def _claim(self, name: str, of: str, place: Place | None) -> str:
        if not of:
            return name
        other = self._claimed.setdefault(name, of)
        spelled = name.rpartition(".")[2]
        if other != of:
            self._fault(f"{of} and {other} both become {spelled} in C", "another name", place)
        elif len(spelled) > MOST_OF_A_NAME:
            told = f"{of} becomes {spelled} in C, which has more than {MOST_OF_A_NAME} characters"
            self._fault(told, "a shorter name", place)
        return name

    def _fault(self, message: str, expected: str, place: Place | None) -> None:
        error = InputError(message, place=place or self.place, expected=expected)
        if error not in self._errors:
            self._errors.append(error)

    def need_distinct(self) -> None:
        """Raise `InvalidInput` if two parts of the chip have the same name in C."""
        if self._errors:
            raise InvalidInput(self._errors)


def comment(text: str) -> str:
    """Text for a comment or a string of C: nothing in it ends the comment or becomes another
    character (trigraphs, 5.2.1.1).
    """
    kept = "".join(one if one.isprintable() else " " for one in text)
    return kept.replace("*/", "* /").replace("/*", "/ *").replace("??", "? ?").replace("\\", "/")


def literal(text: str) -> str:
    """A string of C, in quotes."""
    return '"' + comment(text).replace('"', "'") + '"'
