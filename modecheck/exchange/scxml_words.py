"""The names of SCXML 1.0 (W3C Recommendation, 1 September 2015), ours beside them, and how events
are called.

A message is the event `MESSAGE.LINK`, a signal the event of its name: an event descriptor matches
every event that begins with its tokens (W3C SCXML, section 3.12.1), so that `hello` is a hello of
any link. What SCXML has no word for stands in attributes of a namespace of our own, which its
processors ignore.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from modecheck.model.parts import Chip, Device, Event
from modecheck.model.rule_effects import Send

SCXML = "http://www.w3.org/2005/07/scxml"
OURS = "urn:modecheck:chip"
PREFIX = "chip"
DATA_MODEL = "ecmascript"
DEVICE = "#_parent"
"""The target of what a chip sends: the session that invoked it stands for the rest of the device.
"""

NAMING = "message.link"
"""The value of the attribute `chip:events` of a chart whose events are called as here."""

KEYWORDS = frozenset(
    re.findall(
        r"\w+",
        "await break case catch class const continue debugger default delete do else enum export "
        "extends false finally for function if implements import in instanceof interface let new "
        "null package private protected public return static super switch this throw true try "
        "typeof var void while with yield undefined NaN Infinity eval arguments Math In",
    )
)
"""No variable of a data model can have these names (ECMA-262, reserved words, from memory)."""

NUMBERED = re.compile(r"(.+)\[(\d+)\]")


class EventNames:
    """How the events of one chip are called. Events that only the chart itself has begin with a
    word that is no message and no signal.
    """

    def __init__(self, device: Device, chip: Chip) -> None:
        self._device = device
        links = [one for one in device.links.values() if chip.name in (one.sender, one.receiver)]
        known = {message for link in links for message in link.carries} | set(device.signals)
        self.free, self.after, self.timer, self.seen = (
            _unused(word, known) for word in ("free", "after", "timer", "seen")
        )
        self._tokens: dict[str, str] = {}
        self._taken: set[str] = set()

    def of(self, event: Event) -> str:
        if event.link is None:
            return dotted(event.name)
        return f"{dotted(event.name)}.{dotted(self._device.links[event.link].called)}"

    def sent(self, send: Send) -> str:
        return self.of(Event(send.message, send.link))

    def token(self, title: str) -> str:
        """A token for a rule: its title without what an event cannot have in its name."""
        if title not in self._tokens:
            plain = re.sub(r"\W+", "_", title).strip("_")
            self._tokens[title] = _unused(plain, self._taken)
            self._taken.add(self._tokens[title])
        return self._tokens[title]


def dotted(name: str) -> str:
    """A name, that of a copy with its number as a token: `up[2]` as `up.2`."""
    match = NUMBERED.fullmatch(name)
    return f"{match[1]}.{match[2]}" if match else name


def xml_name(name: str) -> str:
    """A name of the model as an XML name: `tile[2]` as `tile_2`."""
    return re.sub(r"\W+", "_", name).strip("_")


def _unused(word: str, known: Iterable[str]) -> str:
    while word in known:
        word += "_"
    return word
