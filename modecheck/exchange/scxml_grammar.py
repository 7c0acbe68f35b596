"""What may stand where in SCXML 1.0, and the strict check of a document against it.

The elements, their attributes and children are those of sections 3 to 6 of the W3C Recommendation
of 1 September 2015 (from memory). What is in a namespace that is neither SCXML's nor ours may stand
anywhere and is no part of the chart: it is left out, and said to be.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from modecheck.exchange.scxml_words import NAMING, OURS, SCXML
from modecheck.exchange.xml_reading import XmlNode
from modecheck.model.errors import Notebook
from modecheck.model.shapes import FAIR

EXECUTABLE = "raise if foreach log assign script send cancel"
STATES = "state parallel final"


@dataclass(frozen=True, slots=True)
class ElementRule:
    """Names, separated by spaces: attributes of SCXML, with `!` those that are required, those of
    our own namespace, and children. `text` allows text inside.
    """

    attributes: str = ""
    own: str = ""
    children: str = ""
    text: bool = False

    @property
    def required(self) -> list[str]:
        return [one[:-1] for one in self.attributes.split() if one.endswith("!")]

    @property
    def known(self) -> list[str]:
        return [one.removesuffix("!") for one in self.attributes.split()]


ELEMENTS = {
    "scxml": ElementRule(
        "version! initial name datamodel binding",
        "events actor about fair concerns battery runs_on priority discards defers",
        f"{STATES} datamodel script",
    ),
    "state": ElementRule(
        "id initial",
        "rest about concerns current masks discards defers whole",
        f"onentry onexit transition initial history datamodel invoke {STATES}",
    ),
    "parallel": ElementRule(
        "id", "", "onentry onexit transition state parallel history datamodel invoke"
    ),
    "transition": ElementRule(
        "event cond target type",
        "rule free text fair concerns weight steps period restarts seen",
        EXECUTABLE,
    ),
    "initial": ElementRule("", "", "transition"),
    "final": ElementRule("id", "", "onentry onexit donedata"),
    "onentry": ElementRule("", "", EXECUTABLE),
    "onexit": ElementRule("", "", EXECUTABLE),
    "history": ElementRule("id type", "", "transition"),
    "raise": ElementRule("event!"),
    "if": ElementRule("cond!", "", f"elseif else {EXECUTABLE}"),
    "elseif": ElementRule("cond!"),
    "else": ElementRule(),
    "foreach": ElementRule("array! item! index", "", EXECUTABLE),
    "log": ElementRule("label expr"),
    "datamodel": ElementRule("", "", "data"),
    "data": ElementRule("id! src expr", "holds persistent variable reads scratch", text=True),
    "assign": ElementRule("location! expr", "together", text=True),
    "donedata": ElementRule("", "", "content param"),
    "content": ElementRule("expr", text=True),
    "param": ElementRule("name! expr location"),
    "script": ElementRule("src", text=True),
    "send": ElementRule(
        "event eventexpr target targetexpr type typeexpr id idlocation delay delayexpr namelist",
        "latest",
        "content param",
    ),
    "cancel": ElementRule("sendid sendidexpr"),
    "invoke": ElementRule(
        "type typeexpr src srcexpr id idlocation namelist autoforward", "", "param finalize content"
    ),
    "finalize": ElementRule("", "", EXECUTABLE),
}

EITHER = {
    "send": (
        "event eventexpr",
        "target targetexpr",
        "type typeexpr",
        "id idlocation",
        "delay delayexpr",
    ),
    "invoke": ("type typeexpr", "src srcexpr", "id idlocation"),
    "cancel": ("sendid sendidexpr",),
    "param": ("expr location",),
    "data": ("src expr",),
}
"""Pairs of attributes of which an element has one at most."""
INSTEAD_OF_TEXT = {"data": "src expr", "assign": "expr", "content": "expr", "script": "src"}
"""Attributes that stand for the text of an element."""

NAMES = r"\S+(?: +\S+)*"
OWN_VALUES = {
    **dict.fromkeys(
        ("rest", "actor", "whole", "free", "period", "restarts", "seen", "persistent", "scratch"),
        ("true|false", "true or false"),
    ),
    "events": (re.escape(NAMING), NAMING),
    "fair": (f"{'|'.join(FAIR)}|whole", f"{', '.join(FAIR)} or whole"),
    "steps": ("separate|together", "separate or together"),
    "priority": (r"\d{1,3}", "a number"),
    "together": (r"\d{1,2}", "how many assignments belong together"),
    "weight": (r"[\d./ ]{1,30}", "a positive number such as 3, 0.25 or 9/19"),
    "current": (r"[\d.]{1,20} *(?:[nuµm]?A)", "a number and a unit, such as 3 mA"),
    "battery": (r"[\d.]{1,20} *m?Ah", "a number and a unit, such as 500 mAh"),
    "latest": (r"[\d.]{1,20} *(?:[uµm]?s|min|h)|forever", "a duration such as 20 ms, or forever"),
    "reads": (r"[^\W\d]\w*(?:\[\d+\])?\.[^\W\d]\w*", "a chip and its state or variable: hub.on"),
    **dict.fromkeys(("discards", "defers", "concerns", "masks"), (NAMES, "names")),
}
"""Attributes of our own whose values have a form, and what is expected."""


def check_grammar(root: XmlNode, notes: Notebook) -> list[XmlNode]:
    """Note what SCXML does not allow. Returns the elements of other namespaces, outermost only."""
    if root.space != SCXML:
        said = f"the namespace {root.space!r}" if root.space else "no namespace"
        expected = f'xmlns="{SCXML}"'
        notes.add(f"<{root.tag}> is in {said}", root.place, expected=expected)
        return []
    if root.tag != "scxml":
        notes.add(f"<{root.tag}> at the top", root.place, expected="<scxml>")
        return []
    version = root.get("version")
    if version is not None and version.text != "1.0":
        message = f"the version {version.text!r}"
        notes.add(message, version.whole, expected='version="1.0"')
    _check_binding(root, notes)
    return list(_checked(root, notes))


def _check_binding(root: XmlNode, notes: Notebook) -> None:
    """A variable of a model has its first value from the start (section 5.3.3: early binding)."""
    binding = root.get("binding")
    if binding is not None and binding.text.strip() not in ("early", "late"):
        message = f"the binding {binding.text!r}"
        notes.add(message, binding.whole, word=binding.text, choices=("early", "late"))
    elif binding is not None and binding.text.strip() == "late":
        for data in (one for state in root.of(*STATES.split()) for one in _data_within(state)):
            message = f"{data.words('id')!r} has its first value when its state is entered"
            expected = 'binding="early", or the <data> at the top'
            notes.add(message, data.place, expected=expected)


def _data_within(node: XmlNode) -> Iterator[XmlNode]:
    for child in node.children:
        yield from [child] if child.tag == "data" else _data_within(child)


def _checked(node: XmlNode, notes: Notebook) -> Iterator[XmlNode]:
    rule = ELEMENTS[node.tag]
    _check_attributes(node, rule, notes)
    _check_combinations(node, notes)
    if node.text_place is not None and not rule.text:
        message = f"text inside of <{node.tag}>"
        notes.add(message, node.text_place, expected="elements only")
    for child in node.children:
        if child.space != SCXML:
            yield child
        elif child.tag in rule.children.split():
            yield from _checked(child, notes)
        elif child.tag in ELEMENTS:
            allowed = ", ".join(f"<{one}>" for one in sorted(rule.children.split()))
            message = f"<{child.tag}> cannot stand in <{node.tag}>"
            notes.add(message, child.place, expected=f"one of {allowed}" if allowed else "nothing")
        else:
            message = f"SCXML has no element <{child.tag}>"
            known = rule.children.split() or [*ELEMENTS]
            notes.add(message, child.place, word=child.tag, choices=known)


def _check_attributes(node: XmlNode, rule: ElementRule, notes: Notebook) -> None:
    for (space, name), attribute in node.attributes.items():
        known = {"": rule.known, OURS: rule.own.split()}.get(space)
        if known is not None and name not in known:
            whose = "" if not space else " of the namespace of chips"
            message = f"<{node.tag}> has no attribute {name!r}{whose}"
            expected = "" if known else "no such attribute"
            notes.add(message, attribute.place, word=name, choices=known, expected=expected)
        form, expected = OWN_VALUES.get(name, ("", "")) if space == OURS else ("", "")
        if form and not re.fullmatch(form, attribute.text.strip()):
            notes.add(f"{name}={attribute.text!r}", attribute.whole, expected=expected)
    for name in rule.required:
        if node.get(name) is None:
            notes.add(f"<{node.tag}> without {name!r}", node.place, expected=f'{name}="…"')


def _check_combinations(node: XmlNode, notes: Notebook) -> None:
    """What may stand there alone, but not together."""
    for pair in EITHER.get(node.tag, ()):
        first, second = (node.get(name) for name in pair.split())
        if first is not None and second is not None:
            message = f"<{node.tag}> with {' and '.join(map(repr, pair.split()))}"
            notes.add(message, second.place, expected="one of them")
    for name in INSTEAD_OF_TEXT.get(node.tag, "").split():
        if node.get(name) is not None and node.text_place is not None:
            message = f"<{node.tag}> with {name!r} and a text"
            notes.add(message, node.text_place, expected="one of them")
    event = node.get("event")
    if event is not None and not event.text.strip():
        expected = "the name of an event, or no such attribute"
        notes.add("an event without a name", event.whole, expected=expected)
    if node.tag in ("state", "initial"):
        _check_initials(node, notes)
    elif node.tag == "if":
        _check_branches(node, notes)


def _check_initials(node: XmlNode, notes: Notebook) -> None:
    """A state says once at most where it begins, and that depends on nothing."""
    elements, attribute = node.of("initial"), node.get("initial")
    for again in elements[0 if attribute is not None else 1 :]:
        notes.add(f"a second initial state of <{node.tag}>", again.place, expected="one")
    for transition in node.of("transition") if node.tag == "initial" else ():
        for name in ("event", "cond"):
            depends = transition.get(name)
            if depends is not None:
                message = f"<transition> of <initial> with {name!r}"
                notes.add(message, depends.place, expected="a target alone")


def _check_branches(node: XmlNode, notes: Notebook) -> None:
    """Behind `<else>` there is no further branch."""
    parts = node.of("elseif", "else")
    ended = next((n for n, one in enumerate(parts) if one.tag == "else"), len(parts))
    for late in parts[ended + 1 :]:
        notes.add(f"<{late.tag}> behind <else>", late.place, expected="<else> as the last branch")
