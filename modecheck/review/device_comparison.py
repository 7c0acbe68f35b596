"""Two devices compared: their text, their findings, their behaviour, and what to retest."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

from modecheck.checks import differences
from modecheck.checks.explored import Verdict
from modecheck.compare.behaviour import WHOLE, Behaviour, Outcome, compare_behaviour
from modecheck.compare.looks import Devices, Look, chosen_look, looks_at_concerns, looks_at_media
from modecheck.compare.refinement import Equivalence
from modecheck.compare.text_changes import TextChanges, text_changes
from modecheck.engine.choice import Search
from modecheck.engine.search.exploration import Reporter
from modecheck.model.parts import Device
from modecheck.model.places import Place
from modecheck.product.composition import compose
from modecheck.review.concerns import tagged_findings
from modecheck.review.names import NewNames
from modecheck.review.retest import Retest, retest


@dataclass(frozen=True, slots=True)
class ComparisonRequest:
    """How behaviour is compared. `see` are looks chosen by the user (messages, links, media,
    separated by commas), in place of one for each medium.
    """

    equivalence: Equivalence = Equivalence.BRANCHING
    see: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Origin:
    """What a device is called in a comparison. Files from a revision lie in a temporary `folder`:
    they are shown with the revision in front, as version control does.
    """

    name: str
    folder: str = ""
    revision: str = ""

    def place(self, place: Place | None) -> str:
        """The position of something, as `file:line:column`; empty without a place."""
        if place is None:
            return ""
        folder = f"{self.folder}{os.sep}"
        if self.folder and place.file.startswith(folder):
            return f"{self.revision}:{str(place).removeprefix(folder)}"
        return str(place)


@dataclass(frozen=True, slots=True)
class DeviceComparison:
    """The old and the new device compared. `old` uses the names of the new device, except in its
    scenarios. The text is that of the first variant; behaviours are those of every variant that
    both verdicts have.
    """

    old: Verdict
    new: Verdict
    text: TextChanges
    findings: differences.VerdictDifference
    behaviours: tuple[Behaviour, ...]
    retest: Retest
    asked: ComparisonRequest
    old_origin: Origin
    new_origin: Origin

    @property
    def complete(self) -> bool:
        """Whether both verdicts, all behaviours and the bench test are complete."""
        known = all(one.outcome is not Outcome.UNKNOWN for one in self.behaviours)
        return known and self.findings.complete and not self.retest.bench.stopped_by

    @property
    def broken(self) -> bool:
        """Whether there are new findings, or requirements that no longer hold."""
        needs = self.findings.requirements
        return bool(self.findings.new) or any(map(differences.breaks, needs))

    @property
    def different(self) -> tuple[Behaviour, ...]:
        """Behaviours in which the devices differ."""
        return tuple(one for one in self.behaviours if one.outcome is Outcome.DIFFERENT)

    @property
    def modes(self) -> list[str]:
        """The modes in which behaviours are compared, with the whole behaviour last."""
        modes = dict.fromkeys(one.mode for one in self.behaviours)
        return [*(mode for mode in modes if mode), *([WHOLE] if WHOLE in modes else [])]


def compared(
    old: Verdict,
    new: Verdict,
    asked: ComparisonRequest | None = None,
    search: Search | None = None,
    reporter: Reporter | None = None,
    old_origin: Origin | None = None,
) -> DeviceComparison:
    """The comparison of two devices, given their verdicts.

    Raises `InvalidInput` if `asked` names something to see that neither device has.
    """
    how, look_for = search or Search(), asked or ComparisonRequest()
    pairs = _same_variants(old, new)
    first_old, first_new = pairs[0]
    text = text_changes(first_old, first_new)
    behaviours: list[Behaviour] = []
    for before, after in pairs:
        devices = Devices(compose(before), compose(after), text.renaming)
        found = compare_behaviour(
            devices, _looks(devices, look_for), look_for.equivalence,
            _knowing_the_size(how, new), reporter,
        )  # fmt: skip
        variant = after.choices if len(pairs) > 1 else ""
        behaviours += (replace(one, variant=variant) for one in found)
    old_renamed = NewNames(text.renaming).verdict(old)
    findings = differences.difference(old_renamed, new)
    tagged = tagged_findings(old, old_renamed, new, findings)
    return DeviceComparison(
        old=old_renamed,
        new=new,
        text=text,
        findings=findings,
        behaviours=tuple(behaviours),
        retest=retest(
            first_old,
            compose(first_new),
            text,
            behaviours,
            tagged,
            look_for.equivalence,
            how.limits,
        ),
        asked=look_for,
        old_origin=old_origin or Origin(old.device.file),
        new_origin=Origin(new.device.file),
    )


def _knowing_the_size(search: Search, verdict: Verdict) -> Search:
    states = max(one.exploration.state_count for one in verdict.explored)
    return replace(search, expected=states)


def _same_variants(old: Verdict, new: Verdict) -> list[tuple[Device, Device]]:
    """The variants that both have; if they have none in common, the first of each."""
    before = {one.variant: one.device for one in old.explored}
    both = [(before[one.variant], one.device) for one in new.explored if one.variant in before]
    return both or [(old.explored[0].device, new.explored[0].device)]


def _looks(devices: Devices, asked: ComparisonRequest) -> Sequence[Look]:
    if asked.see:
        return [chosen_look(devices, text) for text in asked.see]
    media = looks_at_media(devices)
    covered = frozenset().union(*(look.concerns for look in media))
    return [*media, *looks_at_concerns(devices, covered)]
