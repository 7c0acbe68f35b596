"""Read the expected findings: those that the team accepts, and those that a faulty twin has."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from datetime import date

from modecheck.model import renamed_words
from modecheck.model.claims import Acceptance, Expectation
from modecheck.model.keys import keys_of
from modecheck.model.renamed_words import called_now
from modecheck.model.shapes import Shapes
from modecheck.model.yaml_nodes import (
    MappingNode,
    Node,
    ScalarNode,
    SequenceNode,
    kind_of,
    shortened,
)

FINDING = re.compile(r"[a-z]+(-[a-z]+)*:\S.*")
LONGEST_SCENARIO = 1_000_000


class VerdictReader:
    """Reads the sections `accepted` and `expect`."""

    def __init__(self, shapes: Shapes) -> None:
        self._shapes = shapes

    def accepted(self, node: Node | None) -> tuple[Acceptance, ...]:
        found = []
        keys = keys_of("acceptance")
        for record in self._records(node, "accepted", keys, ("finding", "reason")):
            finding = self._finding(record)
            expected = "why the team accepts it"
            reason = self._shapes.scalar(record.entries["reason"], "a reason", expected)
            until = record.get("until")
            end = self._date(until) if until is not None else None
            if finding is not None and reason is not None:
                found.append(
                    Acceptance(finding.text, reason.text, end, record.place, finding.place)
                )
        return tuple(found)

    def expected(self, node: Node | None) -> tuple[Expectation, ...]:
        found = []
        for record in self._records(node, "expect", keys_of("expectation"), ("finding",)):
            finding = self._finding(record)
            count = record.get("steps")
            steps = None
            if count is not None:
                steps = self._shapes.integer(count, "steps", 0, LONGEST_SCENARIO)
            if finding is not None:
                found.append(Expectation(finding.text, steps, record.place, finding.place))
        return tuple(found)

    def _records(
        self, node: Node | None, what: str, known: Collection[str], required: tuple[str, ...]
    ) -> Iterator[MappingNode]:
        if node is not None and not isinstance(node, SequenceNode):
            self._shapes.notes.add(
                f"{kind_of(node)} cannot be used as {what}", node.place, expected="a list"
            )
            return
        for item in node.items if node is not None else ():
            record = self._shapes.record(item, f"an entry of {what}", known, required)
            if record is not None:
                yield record

    def _finding(self, record: MappingNode) -> ScalarNode | None:
        expected = "a finding as check prints it, code:subject"
        scalar = self._shapes.scalar(record.entries["finding"], "a finding", expected)
        code, colon, _ = ("", "", "") if scalar is None else scalar.text.partition(":")
        if scalar is not None and colon and code in renamed_words.CODES:
            new = renamed_words.CODES[code]
            self._shapes.notes.add(called_now(code, new), scalar.place, expected=repr(new))
            return None
        if scalar is None or FINDING.fullmatch(scalar.text):
            return scalar
        message = f"{shortened(scalar.text)!r} does not name a finding"
        self._shapes.notes.add(message, scalar.place, expected=expected)
        return None

    def _date(self, node: Node) -> date | None:
        try:
            return date.fromisoformat(node.text if isinstance(node, ScalarNode) else "")
        except ValueError:
            expected = "a date such as 2027-03-31"
            self._shapes.notes.add(
                f"{kind_of(node)} cannot be used as until", node.place, expected=expected
            )
            return None
