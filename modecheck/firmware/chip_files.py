"""The files of a chip's C code, and what stands at their top: what they were made from."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from modecheck.checks.explored import Verdict
from modecheck.checks.judged import HOLDS
from modecheck.firmware.c_code import CCode
from modecheck.firmware.c_header import header_text
from modecheck.firmware.c_names import comment
from modecheck.firmware.c_source import source_text
from modecheck.firmware.c_tables import tables_text
from modecheck.firmware.chip_plan import plan_of
from modecheck.version import __version__

HEADER_ONLY = "header"
"""The style of teams that keep their own code: names and the gap table, and no function."""


@dataclass(frozen=True)
class ChipFiles:
    """A chip of the device that was checked, by its name, in one style."""

    verdict: Verdict
    chip: str
    style: str

    @cached_property
    def code(self) -> CCode:
        """Raises `InvalidInput` if two names are the same in C."""
        code = CCode(plan_of(self.verdict.explored[0].device, self.chip))
        code.words.claim()
        return code

    @cached_property
    def texts(self) -> dict[str, str]:
        """The files by their names."""
        prefix = self.code.words.prefix
        if self.style == HEADER_ONLY:
            return {
                f"{prefix}_tables.h": tables_text(
                    self.code, list(self.stamp()), arrivals_known=self._arrivals_known
                )
            }
        # The source comes first: only then is it known which functions the code needs.
        source = source_text(self.code, list(self.stamp()), self.style)
        return {f"{prefix}.h": header_text(self.code, list(self.stamp())), f"{prefix}.c": source}

    @property
    def _arrivals_known(self) -> bool:
        """Whether every message that arrives in a state without an answer would have been found,
        and none was.
        """
        found = [*self.verdict.findings, *(one.finding for one in self.verdict.accepted)]
        return self.verdict.complete and not any(
            finding.code == "unspecified-reception" for finding in found
        )

    def stamp(self) -> Iterator[str]:
        """What the files were made from, and what was checked of it, as lines."""
        verdict, explored = self.verdict, self.verdict.explored[0]
        device = explored.device
        yield f"{comment(self.chip)} of {comment(device.name)}, by modecheck {__version__}."
        yield "Do not edit: change the model."
        yield f"Model:   {comment(digest(verdict, self.style))}"
        if device.choices:
            yield f"Options: {comment(device.choices)}"
        yield f"Checked: {explored.exploration.state_count:,} states, {comment(explored.extent)}"
        findings = [finding.id for finding in verdict.findings]
        if findings:
            yield f"NOT CLEAN: findings that are not accepted: {len(findings)}"
            yield from (f"  {comment(one)}" for one in findings)
        accepted = [one.finding.id for one in verdict.accepted]
        yield from (f"Accepted: {comment(one)}" for one in accepted)
        held = [one.need.name for one in verdict.requirements if one.verdict == HOLDS]
        if held:
            yield f"Holds:   {', '.join(map(comment, held))}"
        assumed = dict.fromkeys(text for one in verdict.requirements for text in one.rests_on)
        if assumed:
            yield "Assumed, that each of these eventually happens if it stays possible:"
            yield from (f"  {comment(one)}" for one in assumed)
        yield "The model was checked, not this chip: it replaces no certification and no lab test."


def digest(verdict: Verdict, style: str) -> str:
    """What a verdict and the code depend on, as a SHA-256: files, options, findings, style."""
    device = verdict.explored[0].device
    judged = [(one.need.name, one.verdict) for one in verdict.requirements]
    findings = [finding.id for finding in verdict.findings]
    parts = [sorted(device.digests.values()), device.variant, judged, findings, style, __version__]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def stale(texts: Mapping[str, str], folder: str) -> list[str]:
    """The files that are not there, or not as they would be written now."""
    found = []
    for name, text in texts.items():
        path = os.path.join(folder, name)
        try:
            with open(path, encoding="utf-8", newline="") as file:
                same = file.read() == text
        except (OSError, UnicodeDecodeError):
            same = False
        if not same:
            found.append(path)
    return found
