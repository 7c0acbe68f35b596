"""Whether a scenario still shows its finding on a changed device: the cheapest test of a change.

The scenario's steps are taken again, by their names, on the changed device. Where all of them can
be taken, lead to the same states, and nothing that counts for the finding is different, the finding
is still there. Otherwise nothing is known: the device may have it in another scenario.
"""

from __future__ import annotations

from modecheck.checks.findings import Finding
from modecheck.engine.reference.plain import Interpreter, State, Step
from modecheck.engine.reference.system_actions import Drives
from modecheck.model.copies import unnumbered
from modecheck.model.parts import Device, Requirement
from modecheck.product.ir import Product
from modecheck.product.state_conditions import is_watched
from modecheck.repair.changes import Matters, RepairChange
from modecheck.repair.used_parts import Part
from modecheck.scenario.sentences import sentence

ENDS_BADLY = {
    "unspecified-reception", "blocked-reaction", "overflow", "out-of-range", "lost-bond",
    "two-modes",
}  # fmt: skip
"""Findings that the last state or step of a scenario shows, whatever may follow."""
LATER = ("recoverable", "possible")
"""Patterns of requirements that depend on what may follow."""


def still_shown(finding: Finding, device: Device, changed: Product) -> bool:
    """Whether the finding of a device is shown by its scenario on the changed product, too."""
    trace = finding.trace
    if trace is None or not _is_decided_by(finding, device, changed.device):
        return False
    follower = _Follower(trace.product, changed, strictly=watched_need(finding, device) is not None)
    states = [(trace.product.initial, changed.initial)]
    if not follower.equal(*states[0]):
        return False
    for move in trace.moves:
        after = follower.after(*states[-1], move.label, move.after)
        if after is None:
            return False
        if move.after is not None:
            states.append((move.after, after))
    if finding.code == "deadlock":
        return not follower.goes_on(states[-1][1])
    if trace.loop_from:
        return all(follower.same_choices(*pair) for pair in states[trace.loop_from - 1 :])
    return True


def is_shown_by_scenario(finding: Finding, device: Device) -> bool:
    """Whether its scenario alone shows that the device has the finding."""
    if finding.trace is None:
        return False
    if finding.code in ENDS_BADLY or finding.code == "deadlock":
        return True
    need = device.requirements.get(finding.subject)
    return finding.code == "broken-requirement" and need is not None and need.pattern not in LATER


def watched_need(finding: Finding, device: Device) -> Requirement | None:
    """The requirement that a finding is about, if judging it takes an observer:
    then also what happens in steps counts, and not their states alone.
    """
    need = device.requirements.get(finding.subject)
    broken = finding.code == "broken-requirement" and need is not None and is_watched(need)
    return need if broken else None


def _is_decided_by(finding: Finding, old: Device, new: Device) -> bool:
    """Whether its scenario shows the same on both devices."""
    if not is_shown_by_scenario(finding, old):
        return False
    if finding.code == "two-modes":
        return all(
            one.name in new.modes and new.modes[one.name].when == one.when
            for one in old.modes.values()
        )
    need, now = old.requirements.get(finding.subject), new.requirements.get(finding.subject)
    if need is None or now is None:
        return need is now
    return need.terms == now.terms and need.span == now.span


def cannot_help(change: RepairChange, finding: Finding, device: Device, used: set[Part]) -> bool:
    """Whether a change leaves a finding's scenario as it is; `used` are the parts that this depends
    on (`modecheck.repair.used_parts`). False where that is not known.
    """
    if not is_shown_by_scenario(finding, device):
        return False
    if change.matters is Matters.ANYWHERE:
        return False
    if change.matters is not Matters.MORE_STEPS and change.about & used:
        return False
    return change.matters is Matters.WHERE_USED or _outlasts_more_steps(change, finding, device)


def _outlasts_more_steps(change: RepairChange, finding: Finding, device: Device) -> bool:
    """Whether a scenario stays possible when chips can do more. Not a deadlock, which ends, nor a
    loop, which is left; with a clock, more steps can be urgent, and on a controller that several
    share they hold others back.
    """
    if finding.code == "deadlock" or (finding.trace is not None and finding.trace.loop_from):
        return False
    names = {chip for chip, _ in change.about}
    shares = any(
        one.runs_on and names & {name, unnumbered(name)} for name, one in device.chips.items()
    )
    return device.clock is None and not shares


class _Follower:
    """Follows runs of a product on a changed one, whose fields and labels have other numbers.
    `strictly` means that the same happens in each step, beyond what its states show.
    """

    def __init__(self, old: Product, new: Product, *, strictly: bool) -> None:
        self._old, self._new, self._strictly = old, new, strictly
        places = {field.name: number for number, field in enumerate(new.fields)}
        self._shared = [
            (number, places[field.name])
            for number, field in enumerate(old.fields)
            if field.name in places
        ]
        self._labels: dict[str, list[int]] = {}
        for number, label in enumerate(new.labels):
            self._labels.setdefault(label.text, []).append(number)
        self._interpreter = Interpreter(new)
        self._before = Interpreter(old)

    def after(self, old: State, now: State, label: int, wanted: State | None) -> State | None:
        """The state after the same step of the changed product, if it has one that leads to the
        same state; for a step that fails, the state before it, if it still fails.
        """
        text = self._old.labels[label].text
        numbers = set(self._labels.get(text, ()))
        for step in self._interpreter.steps(now):
            if step.label not in numbers:
                continue
            if wanted is None:
                if step.after is None and self._fails_alike(old, label, step):
                    return now
            elif (
                step.after is not None
                and self.equal(wanted, step.after)
                and self._happens_alike(old, label, wanted, step)
            ):
                return step.after
        return None

    def _happens_alike(self, old: State, label: int, wanted: State, step: Step) -> bool:
        if not self._strictly:
            return True
        known = self._before.step_to(old, label, wanted)
        return known is not None and sentence(self._old, known) == sentence(self._new, step)

    def _fails_alike(self, old: State, label: int, step: Step) -> bool:
        failed = (one for one in self._before.steps(old) if one.label == label and one.failures)
        known = {(f.code, f.subject) for one in failed for f in one.failures}
        return any((f.code, f.subject) in known for f in step.failures)

    def equal(self, old: State, new: State) -> bool:
        return all(old[before] == new[after] for before, after in self._shared)

    def goes_on(self, state: State) -> bool:
        """Whether a chip or a link can take a step that keeps the device going."""
        drives, steps = Drives(self._new), self._interpreter.steps(state)
        return any(drives.keeps_going(step.label, state, step.after) for step in steps)

    def same_choices(self, old: State, new: State) -> bool:
        """Whether the same steps are possible in both states, and lead away from them or not."""
        before = self._before.steps(old)
        return _choices(self._old, old, before) == _choices(
            self._new, new, self._interpreter.steps(new)
        )


def _choices(product: Product, state: State, steps: list[Step]) -> set[tuple[str, bool]]:
    return {(product.labels[step.label].text, step.after != state) for step in steps}
