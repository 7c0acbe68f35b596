"""The words of a comparison, shared by its text, its Markdown and its page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from modecheck.compare.behaviour import WHOLE, Behaviour, Outcome
from modecheck.compare.forms import PartName
from modecheck.compare.silent_cycles import FOREVER
from modecheck.compare.text_changes import ADDED, CHANGED, MOVED, REMOVED, RENAMED, Change
from modecheck.model.wording import counted, listed
from modecheck.review.concerns import Concern, Standing
from modecheck.review.device_comparison import DeviceComparison
from modecheck.review.retest import BenchStepTaken, RetestPlan
from modecheck.scenario.traces import Trace

SIGNS = {ADDED: "+", REMOVED: "−", CHANGED: "≠", RENAMED: "→", MOVED: "↕"}
"""A sign for each kind of change, so that nothing depends on colour alone."""
NO_MARK = "nothing"
"""Stands for the value of a key that is absent."""
MOST_STEPS = 8
"""Bench steps listed by number; the JSON has them all."""


def outcome_in_words(comparison: DeviceComparison) -> str:
    """The comparison in a few words."""
    found = comparison.findings
    new = len(found.new)
    so_far = "" if found.complete else " so far"
    parts = [counted(new, "new finding") if new else f"no new findings{so_far}"]
    parts += [f"{len(found.fixed)} fixed"] if found.fixed else []
    parts += [f"{len(found.unchanged)} unchanged"] if found.unchanged else []
    parts.append(_behaviours_counted(comparison))
    return ", ".join(parts) + ("" if comparison.complete else "; incomplete")


def _behaviours_counted(comparison: DeviceComparison) -> str:
    count, different = len(comparison.behaviours), len(comparison.different)
    if not count:
        return "no behaviour to compare"
    if different:
        return f"behaves differently in {different} of {counted(count, 'comparison')}"
    unknown = sum(one.outcome is Outcome.UNKNOWN for one in comparison.behaviours)
    if unknown:
        return f"behaviour unknown in {unknown} of {counted(count, 'comparison')}"
    if comparison.retest.durations:
        return "behaviour unchanged except for durations"
    # Beside new findings, no summary must suggest that all is well.
    alike = f"no difference in {counted(count, 'comparison')} of behaviour"
    return alike if comparison.broken else "behaviour unchanged"


def change_in_words(change: Change) -> str:
    """What happened to a part, without the kind of change: `state hub.securing → agreeing`."""
    name = change.name
    words = _part_in_words(name)
    if change.what == RENAMED and change.old is not None:
        words = f"{name.kind} {change.old} → {name}"
    elif change.what == MOVED:
        behind = f"after {change.after.name}" if change.after is not None else "first"
        words = f"{words}, now {behind}"
    elif change.inside:
        inside = [counted(count, kind) for kind, count in change.inside]
        words = f"{words} with {listed(inside)}"
    return words


def facets_in_words(change: Change) -> Iterator[tuple[str, str, str]]:
    """Each key that changed, with its text before and after."""
    for key, before, after in change.facets:
        if before == after:
            yield key, "", "now refers to something else"
        else:
            yield key, before or NO_MARK, after or NO_MARK


def mode_in_words(mode: str) -> str:
    """A mode, or the whole behaviour of a device."""
    return f"in {mode}" if mode != WHOLE else "as a whole"


@dataclass(frozen=True, slots=True)
class LookTold:
    """One look in one variant: for each outcome, the modes that have it."""

    title: str
    variant: str
    outcomes: tuple[tuple[Outcome, tuple[str, ...]], ...]

    @property
    def worst(self) -> Outcome:
        """The most important of its outcomes."""
        found = {outcome for outcome, _ in self.outcomes}
        ranked = (Outcome.DIFFERENT, Outcome.UNKNOWN, Outcome.SAME)
        return next(outcome for outcome in ranked if outcome in found)

    def sentences(self) -> list[str]:
        """For example "unchanged in wired and in radio"."""
        said = {
            Outcome.SAME: "unchanged",
            Outcome.DIFFERENT: "different",
            Outcome.UNKNOWN: "unknown",
        }
        if len(self.outcomes) == 1 and len(self.outcomes[0][1]) > 1:
            return [f"{said[self.outcomes[0][0]]} in every mode and as a whole"]
        return [
            f"{said[outcome]} {listed(list(map(mode_in_words, modes)))}"
            for outcome, modes in self.outcomes
        ]


def looks_told(behaviours: Sequence[Behaviour]) -> list[LookTold]:
    """All looks, in order."""
    found = []
    for (variant, title), group in groupby(behaviours, lambda one: (one.variant, one.look.title)):
        members = sorted(group, key=lambda one: one.mode == WHOLE)
        outcomes = tuple(
            (outcome, modes)
            for outcome in Outcome
            if (modes := tuple(one.mode for one in members if one.outcome is outcome))
        )
        found.append(LookTold(title, variant, outcomes))
    return found


@dataclass(frozen=True, slots=True)
class DifferenceTold:
    """How the devices differ in some looks and modes, with a run of the one that shows it."""

    title: str
    sentence: str
    trace: Trace | None


def differences_told(comparison: DeviceComparison) -> Iterator[DifferenceTold]:
    """Each difference; one that shows in a mode is not repeated for the whole behaviour, and one
    that shows alike in several looks is told once.
    """
    shown = {
        (one.variant, one.look.title)
        for one in comparison.different
        if one.mode != WHOLE and one.trace is not None
    }
    alike: dict[tuple[object, ...], list[Behaviour]] = {}
    for one in comparison.different:
        if one.mode == WHOLE and (one.variant, one.look.title) in shown:
            continue
        steps = None if one.trace is None else tuple(step.text for step in one.trace.told)
        alike.setdefault((one.variant, one.mode, _sentence(one), steps), []).append(one)
    for (variant, mode, sentence, _), several in alike.items():
        where = f"{_titles([one.look.title for one in several])}, {mode_in_words(str(mode))}"
        title = f"{variant}: {where}" if variant else where
        yield DifferenceTold(title, str(sentence), several[0].trace)


def _titles(titles: Sequence[str]) -> str:
    """`messages over cable and radio`: what they begin with alike is said once."""
    start = "messages over "
    if len(titles) > 1 and all(title.startswith(start) for title in titles):
        return start + listed([title.removeprefix(start) for title in titles])
    return listed(titles)


def _sentence(one: Behaviour) -> str:
    if one.difference is None:
        return "they differ only in the number of silent steps"
    found = replace(
        one.difference,
        after=tuple(map(_quoted, one.difference.after)),
        event=_quoted(one.difference.event),
        offers=tuple(map(_quoted, one.difference.offers)),
        lost=tuple(map(_quoted, one.difference.lost)),
    )
    return found.sentence("the old device", "the new device")


def _quoted(event: str) -> str:
    return event if event in ("", FOREVER) else f"“{event}”"


def reasons(behaviours: Sequence[Behaviour]) -> list[str]:
    """Why something is unknown; each reason once."""
    return list(dict.fromkeys(one.reason for one in behaviours if one.reason))


def concern_in_words(concern: Concern) -> list[str]:
    """The reasons for the status of a concern, without its findings."""
    lines = []
    if concern.changes:
        lines.append(f"in the text: {_changes_in_words(concern.changes)}")
    same = "unchanged except for durations" if concern.durations else "proven unchanged"
    for outcome, words in ((Outcome.DIFFERENT, "behaves differently"), (Outcome.SAME, same)):
        looks = looks_told([one for one in concern.behaviours if one.outcome is outcome])
        for look in looks:
            modes = next(modes for found, modes in look.outcomes if found is outcome)
            variant = f"{look.variant}: " if look.variant else ""
            where = listed(list(map(mode_in_words, modes)))
            lines.append(f"{variant}{words}: {look.title} {where}")
    if concern.standing is Standing.UNKNOWN and not concern.behaviours:
        lines.append("no part with this concern has changed; its behaviour was not compared")
    return lines


def findings_of_concern(concern: Concern) -> list[tuple[str, tuple[str, ...]]]:
    """The ids of its new and its fixed findings, each with a heading, if there are any."""
    found = (("new findings", concern.new), ("fixed findings", concern.fixed))
    return [(title, ids) for title, ids in found if ids]


def remarks_on_retest(comparison: DeviceComparison) -> list[str]:
    """What no concern covers: durations that were not compared, and new untagged findings."""
    found, lines = comparison.retest, []
    if found.durations:
        clocks = all(one.device.clock is not None for one in (comparison.old, comparison.new))
        why = (
            "only the order of events is compared, not their timing"
            if clocks
            else "time is not counted without a clock"
        )
        lines.append(f"not compared, because {why}: {_changes_in_words(found.durations)}")
    if found.untagged:
        lines.append(f"new findings that belong to no concern: {', '.join(found.untagged)}")
    return lines


def _changes_in_words(changes: Sequence[Change]) -> str:
    return ", ".join(f"{SIGNS[one.what]} {_part_in_words(one.name)}" for one in changes)


def _part_in_words(part: PartName) -> str:
    """`rule hub.answer`; the device itself has no name besides its kind."""
    return f"{part.kind} {part}" if part.kind != "device" else "the device"


def bench_in_words(bench: RetestPlan) -> list[str]:
    """Which steps of the bench test to repeat."""
    if not bench.steps and not bench.never and not bench.stopped_by:
        return ["no rule in the bench test has changed, or uses anything that has changed"]
    lines = [*_steps_in_words(bench)]
    rules = sorted({rule for one in bench.steps for rule in one.rules})
    lines += [f"rules they take: {', '.join(rules)}"] if rules else []
    if bench.never:
        lines.append(f"touched, but taken by no step: {', '.join(bench.never)}")
    if bench.stopped_by:
        lines.append(f"the bench test is incomplete, stopped by {bench.stopped_by}")
    return lines


def _steps_in_words(bench: RetestPlan) -> Iterator[str]:
    steps = [one for one in bench.steps if not one.start]
    whole = "`modecheck tours` take touched rules"
    if any(one.start for one in bench.steps):
        yield f"power on in {whole.replace('take', 'takes')}"
    if steps:
        numbers = [_step(one) for one in steps[:MOST_STEPS]]
        more = len(steps) - len(numbers)
        shown = ", ".join(numbers) + (f"; {more:,} more in --json" if more else "")
        yield f"{len(steps):,} of {counted(bench.of, 'step')} of {whole}: {shown}"


def _step(taken: BenchStepTaken) -> str:
    step = f"step {taken.step}"
    return step if taken.sequence == 1 else f"{step} of sequence {taken.sequence}"
