"""An old verdict in the names of the new device, so that the two can be compared.

A finding is recognised by its subject, which consists of names: `hub.attaching`, `front_pair`,
`tablet.calling.hush`. A word after the name of a chip or a link is a name inside it; any other is a
name of the device.
"""

from __future__ import annotations

import re
from dataclasses import replace

from modecheck.checks.explored import Verdict
from modecheck.checks.findings import Finding
from modecheck.checks.judged import Judged
from modecheck.compare.forms import PartName, Renaming

CHAIN = re.compile(r"\w+(?:\.\w+)*")
"""Names separated by full stops."""
OUTER = ("chip", "link", "mode", "pairing", "requirement", "signal", "option")
INNER = ("state", "variable", "timer", "rule", "message")


class NewNames:
    """Replaces the names of an old device by those of the new one."""

    def __init__(self, renaming: Renaming) -> None:
        self._names = {old: new for old, new in renaming.items() if old.name != new.name}

    def __bool__(self) -> bool:
        return bool(self._names)

    def subject(self, text: str) -> str:
        """The subject of a finding."""
        return CHAIN.sub(lambda found: self._chain(found[0]), text)

    def _chain(self, text: str) -> str:
        first, *rest = text.split(".")
        inner = (self._of(INNER, word, first) or self._of(OUTER, word) or word for word in rest)
        return ".".join([self._of(OUTER, first) or first, *inner])

    def _of(self, kinds: tuple[str, ...], word: str, scope: str = "") -> str:
        found = (self._names.get(PartName(kind, word, scope)) for kind in kinds)
        return next((name.name for name in found if name is not None), "")

    def verdict(self, verdict: Verdict) -> Verdict:
        """The verdict with the new names; scenarios keep those of the old device."""
        if not self:
            return verdict
        return replace(
            verdict,
            findings=tuple(map(self._finding, verdict.findings)),
            accepted=tuple(
                replace(one, finding=self._finding(one.finding)) for one in verdict.accepted
            ),
            explored=tuple(
                replace(one, requirements=tuple(map(self._judged, one.requirements)))
                for one in verdict.explored
            ),
        )

    def _finding(self, finding: Finding) -> Finding:
        return replace(finding, subject=self.subject(finding.subject))

    def _judged(self, judged: Judged) -> Judged:
        name = self._of(("requirement",), judged.need.name)
        return replace(judged, need=replace(judged.need, name=name)) if name else judged
