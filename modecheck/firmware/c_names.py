"""Names in C: what a name of the model becomes, and which names come out the same.

Every name outside of a function begins with the name of the chip, so none is a keyword or a name
of C's library, unless the chip is called as a header or a type of that library; then `chip_` stands
in front. A member of the struct that would be a keyword or might be a macro gets an underscore.
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

_MACROS = """
and and_eq bitand bitor compl not not_eq or or_eq xor xor_eq complex imaginary errno stdin stdout
stderr linux unix
"""
MACROS = frozenset(_MACROS.split())
"""Macros without a capital letter that stand for something wherever they are read: those of
<iso646.h>, <complex.h>, <errno.h> and <stdio.h> (ISO/IEC 9899:1999, 7), and what compilers define
of their system; from memory.
"""

_HEADERS = """
assert complex ctype errno fenv float inttypes iso646 limits locale math setjmp signal stdalign
stdarg stdatomic stdbool stddef stdint stdio stdlib stdnoreturn string tgmath threads time uchar
wchar wctype
"""
_TYPES = """
int8 int16 int32 int64 uint8 uint16 uint32 uint64 intmax uintmax intptr uintptr
int_fast8 int_fast16 int_fast32 int_fast64 uint_fast8 uint_fast16 uint_fast32 uint_fast64
int_least8 int_least16 int_least32 int_least64 uint_least8 uint_least16 uint_least32 uint_least64
size ssize rsize ptrdiff max_align char16 char32 wint wctrans mbstate fpos div ldiv lldiv imaxdiv
clock sig_atomic fexcept double thrd tss mtx cnd
blkcnt blksize clockid dev fsblkcnt fsfilcnt gid id ino key mode nlink off pid pthread suseconds
timer uid useconds sigset siginfo stack socklen in_addr in_port sa_family regex regoff glob wordexp
sem mqd register quad loff fsid daddr caddr
"""
TAKEN = frozenset((_HEADERS + _TYPES).split())
"""Names that a chip cannot have in C: its file NAME.h would hide a header of C (ISO/IEC 9899:2011,
7.1.2), or its type NAME_t would be one of C (7) or of POSIX (IEEE 1003.1, <sys/types.h> and
others), which some libraries of microcontrollers define with the rest; from memory.
"""

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


def prefix_of(chip: str) -> str:
    """What the names of a chip begin with, and its files are called."""
    plain = identifier(chip)
    usable = plain[0].isalpha() and plain.lower() not in TAKEN
    return plain if usable else f"chip_{plain}".rstrip("_")


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
        self.prefix = prefix_of(self.chip)

    def name(self, *parts: str, of: str = "", place: Place | None = None) -> str:
        """A name such as `hub_on_air_hello`, claimed by `of` (told in words) if that is given."""
        return self._claim("_".join([self.prefix, *map(identifier, parts)]), of, place)

    def constant(self, *parts: str, of: str = "", place: Place | None = None) -> str:
        """A name such as `HUB_STATE_LINKED`."""
        return self._claim("_".join([self.prefix, *map(identifier, parts)]).upper(), of, place)

    def member(self, text: str, of: str = "", place: Place | None = None) -> str:
        """A member of the chip's struct."""
        plain = identifier(text)
        if not plain[0].isalpha():
            plain = f"_{plain}"
        elif plain in KEYWORDS or plain in MACROS or plain.upper() == plain:
            plain = f"{plain}_"
        self._claim(f"{self.prefix}.{plain}", of, place)
        return plain

    @property
    def outside(self) -> list[str]:
        """The names that were claimed and that other code of the same program sees."""
        return [name for name in self._claimed if "." not in name]

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
    kept = kept.replace("\\", "/").replace("*/", "* /").replace("/*", "/ *")
    return re.sub(r"\?(?=\?)", "? ", kept)


def literal(text: str) -> str:
    """A string of C, in quotes."""
    return '"' + comment(text).replace('"', "'") + '"'
