"""The states of an SCXML document, and everything in it that a chip cannot say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from modecheck.exchange.scxml_words import NAMING, OURS, SCXML
from modecheck.exchange.xml_reading import XmlAttribute, XmlNode
from modecheck.model.errors import Notebook
from modecheck.model.places import Place
from modecheck.model.shapes import IDENTIFIER, RESERVED

UNSAYABLE = {
    "parallel": ("a chip is in one state at a time", "a chart of its own for each region"),
    "history": ("a chip does not remember states", "a variable that says where it was"),
    "invoke": ("a chip starts no other", "the chips side by side in a device"),
    "script": ("a model has no scripts", "<assign>"),
    "foreach": ("a model has no loops", "an <assign> for each item"),
    "donedata": ("a chip has no end, and tells nobody of it", "a <send> before"),
    "finalize": ("a chip starts no other", "the chips side by side in a device"),
}
"""Elements of SCXML without a counterpart: why, and what says something similar."""


@dataclass(frozen=True, slots=True)
class ReadingRemark:
    """What was read as something else, or left out."""

    place: Place
    text: str

    def __str__(self) -> str:
        return f"{self.place}: {self.text}"


@dataclass(eq=False, slots=True)
class ChartState:
    """A state; `name` is what the model calls it. The whole chip is a state with the name ""."""

    id: str
    name: str
    node: XmlNode
    parent: ChartState | None
    children: list[ChartState] = field(default_factory=list)
    initial: ChartState | None = None

    @property
    def around(self) -> Iterator[ChartState]:
        """The state, and those around it, the innermost first."""
        one: ChartState | None = self
        while one is not None:
            yield one
            one = one.parent

    @property
    def inside(self) -> Iterator[ChartState]:
        """The state, and all those inside it, in document order."""
        yield self
        for child in self.children:
            yield from child.inside

    @property
    def entered(self) -> Iterator[ChartState]:
        """The state, and those that are entered with it by default."""
        one: ChartState | None = self
        while one is not None:
            yield one
            one = one.initial


@dataclass(slots=True)
class Chart:
    """`top` stands for the document, or for the state around all others that an export writes.
    `own` says that its events are called as in an export of ours.
    """

    root: XmlNode
    top: ChartState
    states: dict[str, ChartState]
    own: bool

    @property
    def all(self) -> Iterator[ChartState]:
        """All states in document order, the whole chip first."""
        return self.top.inside


def name_of_id(text: str) -> str:
    """A name that the model can have, made of an id."""
    plain = "".join(one if one.isalnum() or one == "_" else "_" for one in text)
    if not IDENTIFIER.fullmatch(plain):
        plain = f"s_{plain}"
    return f"{plain}_" if plain in {*RESERVED, "true", "false", "null"} else plain


def read_chart(root: XmlNode, notes: Notebook, remarks: list[ReadingRemark]) -> Chart:
    """The states of a document that follows the grammar; other errors are noted."""
    _note_unsayable(root, notes)
    return _ChartReader(root, notes, remarks).chart()


def _note_unsayable(node: XmlNode, notes: Notebook) -> None:
    for child in node.children:
        if child.space == SCXML and child.tag in UNSAYABLE:
            why, instead = UNSAYABLE[child.tag]
            message = f"<{child.tag}> has no counterpart in a model: {why}"
            notes.add(message, child.place, expected=instead)
        elif child.space == SCXML:
            _note_unsayable(child, notes)


class _ChartReader:
    def __init__(self, root: XmlNode, notes: Notebook, remarks: list[ReadingRemark]) -> None:
        self._root = root
        self._notes = notes
        self._remarks = remarks
        self._states: dict[str, ChartState] = {}
        self._names: set[str] = set()

    def chart(self) -> Chart:
        node = self._root
        tops = node.of("state", "final")
        whole = len(tops) == 1 and tops[0].words("whole", OURS) == "true"
        if whole:
            node = tops[0]
        top = ChartState(node.words("id"), "", node, None)
        if whole:
            self._states[top.id] = top
        self._read_children(top)
        if not top.children:
            self._notes.add("a chart without states", node.place, expected="<state>")
        self._resolve_initials(top)
        return Chart(self._root, top, self._states, self._root.words("events", OURS) == NAMING)

    def _read_children(self, around: ChartState) -> None:
        for node in around.node.of("state", "final"):
            state = self._state(node, around)
            around.children.append(state)
            self._read_children(state)

    def _state(self, node: XmlNode, around: ChartState) -> ChartState:
        given = node.get("id")
        own = given.text if given is not None else f"state_{node.place.line}"
        place = given.whole if given is not None else node.place
        if given is None:
            self._remarks.append(ReadingRemark(place, f"a state without an id, read as {own!r}"))
        name = name_of_id(own)
        if name != own:
            self._remarks.append(ReadingRemark(place, f"the state {own!r} is read as {name!r}"))
        if own in self._states or name in self._names:
            self._notes.add(f"two states {name!r}", place, expected="different ids")
        state = ChartState(own, name, node, around)
        self._states[own] = state
        self._names.add(name)
        return state

    def _resolve_initials(self, state: ChartState) -> None:
        for child in state.children:
            self._resolve_initials(child)
        if not state.children:
            return
        state.initial = state.children[0]
        elements = state.node.of("initial")
        attribute = state.node.get("initial")
        for element in elements:
            attribute = self._of_element(element)
        target = self.state(attribute) if attribute is not None else None
        if target is None or attribute is None:
            return
        if target.parent is not state:
            inside = ", ".join(one.id for one in state.children)
            message = f"{target.id!r} is not directly inside"
            self._notes.add(message, attribute.whole, expected=f"one of {inside}")
            return
        state.initial = target

    def _of_element(self, element: XmlNode) -> XmlAttribute | None:
        transitions = element.of("transition")
        target = transitions[0].get("target") if transitions else None
        if len(transitions) != 1 or target is None:
            expected = "one <transition> with a target"
            self._notes.add(
                "<initial> does not say where to begin", element.place, expected=expected
            )
        for transition in transitions:
            for child in transition.children:
                message = f"<{child.tag}> when a state is entered by default"
                expected = "nothing: a chip does nothing on its own when it enters a state"
                self._notes.add(message, child.place, expected=expected)
        return target

    def state(self, attribute: XmlAttribute) -> ChartState | None:
        return target_of(attribute, self._states, self._notes)


def target_of(
    attribute: XmlAttribute, states: dict[str, ChartState], notes: Notebook
) -> ChartState | None:
    """The state that an attribute names, or None after noting that it names none, or several."""
    words = attribute.text.split()
    if len(words) > 1:
        expected = "one state: a chip is in one at a time"
        notes.add("several states", attribute.whole, expected=expected)
        return None
    if not words or words[0] not in states:
        message = f"unknown state {attribute.text.strip()!r}"
        choices = [one for one, state in states.items() if state.name]
        notes.add(message, attribute.whole, word=attribute.text.strip(), choices=choices)
        return None
    return states[words[0]]
