"""Lost pairings: a bond lost by itself, ends that disagree, no path back to a working pairing."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from modecheck.checks.declared import Check, Evidence, Needs
from modecheck.checks.findings import Finding
from modecheck.engine.contract.space import ReachGoal, Space, first_zero
from modecheck.engine.reference.plain import Interpreter, State
from modecheck.model.parts import Pairing, PairingEnd
from modecheck.product.composition import acting, acts
from modecheck.product.ir import Label, Product
from modecheck.scenario.traces import Trace, trace_over, trace_to


def _usurped(space: Space, pairing: Pairing) -> Iterator[Finding]:
    """The first transition by which a session begins although the pairing is not selected."""
    if pairing.session is None:
        return
    apart, astray = (space.mark(f"{what}:{pairing.name}") for what in ("apart", "astray"))
    found = space.first_change(apart, astray)
    if found is not None:
        number, edge = found
        yield usurped_finding(pairing, trace_over(space, number, edge))


def usurped_finding(pairing: Pairing, trace: Trace) -> Finding:
    """The finding that a session begins with the last move of a trace."""
    return Finding(
        code="usurped-session",
        subject=pairing.name,
        text=f"a session of {pairing.name} begins although it is not the selected one",
        place=pairing.place,
        trace=trace,
    )


def _lost(space: Space, pairing: Pairing) -> Iterator[Finding]:
    """The first transition by which an end loses its key without a forgetting event."""
    forgetting = space.product.event_bits(pairing.forgotten_by)
    ends = {space.mark(f"bonded:{end}") for end in pairing.ends}
    found = space.first_loss(sum(ends), without_events=forgetting)
    if found is not None:
        number, edge = found
        before, after = space.state(number), space.state(edge.target)
        trace = trace_over(space, number, edge)
        yield lost_finding(space.product, pairing, before, after, trace)


def lost_finding(
    product: Product, pairing: Pairing, before: State, after: State, trace: Trace
) -> Finding:
    """The finding that the last move of a trace, from `before` to `after`, loses a key."""
    end = next(
        end for end in pairing.ends if _key(product, end, before) and not _key(product, end, after)
    )
    variable = product.device.chips[end.chip].variables[end.variable]
    hint = "" if variable.persistent else f"{end} is not persistent"
    return Finding(
        code="lost-bond",
        subject=pairing.name,
        text=f"{end} is lost although the pairing {pairing.name} was not forgotten",
        place=variable.place,
        trace=trace,
        details=(hint,) if hint else (),
    )


def _one_sided(space: Space, pairing: Pairing) -> Iterator[Finding]:
    """The shallowest state in which the device rests while the ends differ."""
    wanted = space.mark("rests") | space.mark(f"at_odds:{pairing.name}")
    interpreter = Interpreter(space.product)
    for number in space.numbered(wanted):
        state = space.state(number)
        if space.is_expanded(number) and not _busy(interpreter, state):
            yield one_sided_finding(space.product, pairing, state, trace_to(space, number))
            return


def one_sided_finding(product: Product, pairing: Pairing, state: State, trace: Trace) -> Finding:
    """The finding that the device rests, at the end of a trace, while the two ends differ."""
    one, two = (_spelled(product, end, state) for end in pairing.ends)
    return Finding(
        code="one-sided-bond",
        subject=pairing.name,
        text=f"the device rests while {one} and {two}",
        place=pairing.place,
        trace=trace,
    )


def _busy(interpreter: Interpreter, state: State) -> bool:
    """Whether a chip can still act by itself, without time passing, in a step that changes
    something or fails.
    """
    product = interpreter.product
    steps = interpreter.steps(state)
    labels = (product.labels[step.label] for step in steps if step.after != state)
    return any(acts_at_once(product, label) for label in labels)


def acts_at_once(product: Product, label: Label) -> bool:
    """Whether a chip acts by itself in such a step, without time passing."""
    own = label.kind == "rule" and not product.chips[label.chip].actor
    return own and product.rules[label.rule].kind == "internal"


def _key(product: Product, end: PairingEnd, state: State) -> int:
    """The key that an end holds, 0 for none."""
    names = [field.name for field in product.fields]
    return state[names.index(str(end))]


def _spelled(product: Product, end: PairingEnd, state: State) -> str:
    key = _key(product, end, state)
    return f"{end} holds {f'key {key}' if key else 'no key'}"


def _recovery(space: Space, pairing: Pairing) -> ReachGoal:
    """Equal keys, without a new act of forgetting, and without the actors it must do without."""
    helpers = tuple(acting(actor) for actor in pairing.recovers_without)
    forgetting = acts(space.product.device, pairing.forgotten_by)
    barred = space.product.event_bits(forgetting + helpers)
    return ReachGoal(space.mark(f"paired:{pairing.name}"), without_events=barred)


def _recoveries(space: Space) -> Iterator[ReachGoal]:
    for pairing in space.product.device.pairings.values():
        yield _recovery(space, pairing)


def _unrecoverable(space: Space, pairing: Pairing) -> Iterator[Finding]:
    """The shallowest state from which every path to equal keys takes a new act of forgetting, or
    needs an actor that it must do without. What is in flight already may arrive.
    """
    lost = first_zero(space.can_reach(_recovery(space, pairing)))
    if lost is None:
        return
    one, two = (_spelled(space.product, end, space.state(lost)) for end in pairing.ends)
    actors = " and ".join(pairing.recovers_without)
    unaided = f" without {actors}" if actors else ""
    yield Finding(
        code="unrecoverable-pairing",
        subject=pairing.name,
        text=f"{one} and {two}, and no path leads back to a working {pairing.name}{unaided}",
        place=pairing.place,
        trace=trace_to(space, lost),
    )


def _check(
    code: str,
    one: Callable[[Space, Pairing], Iterator[Finding]],
    goals: Callable[[Space], Iterator[ReachGoal]] | None = None,
) -> Check:
    """The check that finds at most one finding for each pairing."""

    def find(evidence: Evidence) -> Iterator[Finding]:
        for pairing in evidence.space.product.device.pairings.values():
            yield from one(evidence.space, pairing)

    return Check(code, Needs.PATHS, find, doing="checking pairings", goals=goals)


CHECKS = (
    _check("lost-bond", _lost),
    _check("one-sided-bond", _one_sided),
    _check("unrecoverable-pairing", _unrecoverable, _recoveries),
    _check("usurped-session", _usurped),
)
