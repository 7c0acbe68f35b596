"""Random devices with two identical units: one chip of a random device, instantiated twice."""

from __future__ import annotations

import re
from typing import Any

import yaml
from hypothesis import strategies as st

from tests.generation.devices import Drawn, as_yaml, devices

UNIT, TWIN = "front", "twin"


@st.composite
def twins(draw: st.DrawFn) -> Drawn:
    """A device in which `twin` is to everybody what `left` is. Where a rule of a third chip hears a
    message from both and asks for one of them, the order of rules may still tell them apart.
    """
    drawn = draw(devices())
    document = yaml.safe_load(drawn.text)
    return Drawn(as_yaml(_Doubling(document).doubled()), drawn.chosen)


class _Doubling:
    def __init__(self, document: dict[str, Any]) -> None:
        self._document = document
        self._links = [
            name
            for name, link in document.get("links", {}).items()
            if UNIT in (link["from"], link["to"])
        ]
        self._name_links()
        names = [UNIT, *self._links]
        self._pattern = re.compile(rf"\b({'|'.join(names)})\b")

    def _name_links(self) -> None:
        """Every send says over which link: with the twin's links there may be several."""
        everybody = {**self._document["chips"], **self._document.get("actors", {})}
        for chip, body in everybody.items():
            over = {
                message: name
                for name, link in self._document.get("links", {}).items()
                if link["from"] == chip
                for message in link["carries"]
            }
            for rule in _rules_in(body):
                for part in (rule, *rule.get("choose", ())):
                    if "send" in part:
                        part["send"] = [_with_link(send, over) for send in part["send"]]

    def doubled(self) -> dict[str, Any]:
        document = dict(self._document)
        chips = {name: self._with_twin_rules(body) for name, body in self._others("chips")}
        body = document["chips"][UNIT]
        document["chips"] = {UNIT: body, TWIN: self._turned(body), **chips}
        if "actors" in document:
            document["actors"] = {n: self._with_twin_rules(b) for n, b in self._others("actors")}
        if "links" in document:
            document["links"] = self._doubled_links()
        for section in ("modes", "faults", "pairings"):
            if section in document:
                document[section] = getattr(self, f"_{section}")(document[section])
        return document

    def _others(self, section: str) -> list[tuple[str, dict[str, Any]]]:
        return [(n, body) for n, body in self._document[section].items() if n != UNIT]

    def _turned(self, part: Any) -> Any:
        """The same about the twin."""
        if isinstance(part, str):
            return self._pattern.sub(lambda m: TWIN if m[0] == UNIT else f"{m[0]}_twin", part)
        if isinstance(part, list):
            return [self._turned(one) for one in part]
        if isinstance(part, dict):
            return {key: self._turned(value) for key, value in part.items()}
        return part

    def _with_twin_rules(self, body: dict[str, Any]) -> dict[str, Any]:
        """Each rule that asks for the unit again for its twin, in the chip and in its states."""
        result = dict(body)
        rules = result.get("rules")
        if isinstance(rules, dict):
            rules = {name: self._even(rule) for name, rule in rules.items()}
            turned = {f"{name}_twin": self._turned(rule) for name, rule in rules.items()}
            result["rules"] = rules | {
                f"{name}_twin": turned[f"{name}_twin"]
                for name, rule in rules.items()
                if turned[f"{name}_twin"] != rule
            }
        elif rules:
            rules = [self._even(rule) for rule in rules]
            more = [self._turned(rule) for rule in rules]
            result["rules"] = rules + [rule for rule in more if rule not in rules]
        if isinstance(result.get("states"), dict):
            result["states"] = {
                name: self._with_twin_rules(state) if isinstance(state, dict) else state
                for name, state in result["states"].items()
            }
        return result

    def _even(self, rule: dict[str, Any]) -> dict[str, Any]:
        """A rule that hears the same of both units asks either of them, and does nothing to one."""
        if "on" not in rule or self._turned(rule["on"]) != rule["on"]:
            return rule
        even = self._even_part(rule)
        if "choose" in rule:
            even["choose"] = [self._even_part(branch) for branch in rule["choose"]]
        return even

    def _even_part(self, part: dict[str, Any]) -> dict[str, Any]:
        """A rule, or a branch of one, without what it does to one of the units."""
        even = {key: value for key, value in part.items() if self._turned(value) == value}
        return even | ({"if": self._either(part["if"])} if "if" in part else {})

    def _doubled_links(self) -> dict[str, Any]:
        links: dict[str, Any] = {}
        for name, link in self._document["links"].items():
            links[name] = dict(link)
            if name in self._links:
                links[f"{name}_twin"] = self._turned(link)
            elif "up_when" in link:
                links[name]["up_when"] = self._either(link["up_when"])
        return links

    def _either(self, condition: str) -> str:
        turned = self._turned(str(condition))
        return str(condition) if turned == str(condition) else f"({condition}) or ({turned})"

    def _modes(self, modes: dict[str, Any]) -> dict[str, Any]:
        return {name: self._either(condition) for name, condition in modes.items()}

    def _faults(self, faults: dict[str, Any]) -> dict[str, Any]:
        return {kind: self._groups(groups) for kind, groups in faults.items()}

    def _groups(self, groups: Any) -> Any:
        if isinstance(groups, list):
            return [self._groups(group) for group in groups]
        result = dict(groups)
        for where in ("chips", "links"):
            if where in result:
                result[where] = list(dict.fromkeys([*result[where], *self._turned(result[where])]))
        return result

    def _pairings(self, pairings: dict[str, Any]) -> dict[str, Any]:
        result = dict(pairings)
        for name, pairing in pairings.items():
            turned = self._turned(pairing)
            if turned != pairing:
                result[f"{name}_twin"] = turned
        return result


def _rules_in(body: dict[str, Any]) -> list[dict[str, Any]]:
    """All rules of a chip or state, those of its inner states included."""
    rules = body.get("rules", [])
    found = list(rules.values()) if isinstance(rules, dict) else list(rules)
    states = body.get("states", {})
    for state in states.values() if isinstance(states, dict) else ():
        found += _rules_in(state)
    return found


def _with_link(send: str, over: dict[str, str]) -> str:
    message = re.split(r"[ (]", send, maxsplit=1)[0]
    return send if " via " in send else f"{send} via {over[message]}"
