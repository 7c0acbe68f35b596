"""The automaton of `exactly_once` against a reading of whole runs by brute force."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from modecheck.product.automata import Automaton
from modecheck.product.exchange_automata import LOST, exchange_atoms, exchange_automaton

Moment = tuple[str, int]
"""What happens at a position: ("sent", kind), ("received", kind), ("losing", 0) or ("", 0)."""

KINDS, UNDER_WAY = 2, 4

MOMENTS = st.one_of(
    st.tuples(st.sampled_from(["sent", "received"]), st.integers(0, KINDS - 1)),
    st.tuples(st.sampled_from(["losing", ""]), st.just(0)),
)


def valuation(moment: Moment) -> int:
    what, kind = moment
    everything = (1 << KINDS) - 1
    bits = {
        "both": everything,
        "sent": 1 << kind,
        "received": 1 << KINDS + kind,
        "losing": 1 << 2 * KINDS,
        "dropped": 1 << 2 * KINDS + 1,
        "": 0,
    }
    return bits[what]


def outcomes(automaton: Automaton, run: list[Moment]) -> tuple[set[str], bool, bool]:
    """Over all choices: the bad states entered, whether one may end alive, and lose count."""
    states, bad = {automaton.start}, set()
    for moment in run:
        states |= {two for one, two in automaton.choices if one in states}
        states = {automaton.after(state, valuation(moment)) for state in states}
        bad |= {automaton.bad[state] for state in states if state in automaton.bad}
    return bad, bool(states & automaton.alive), bool(states & automaton.unsure)


def is_fine(run: list[Moment], *, ended: bool) -> bool:
    """Whether some reading of the run blames nobody: each reception is matched, in order, with an
    item sent before, of its kind; what is skipped was forgiven by then. When it has ended, so is
    the rest.
    """
    items: list[tuple[int, int]] = []
    forgiven: list[bool] = []
    received: list[tuple[int, int]] = []
    for position, (what, kind) in enumerate(run):
        if what == "sent":
            items.append((kind, position))
            forgiven.append(False)
        elif what == "received":
            received.append((kind, position))
    losing = [position for position, (what, _) in enumerate(run) if what == "losing"]

    def lost_by(item: int, until: int) -> bool:
        return any(items[item][1] < position < until for position in losing)

    def fits(item: int, number: int) -> bool:
        if number == len(received):
            end = len(run) if ended else -1
            return not ended or all(lost_by(rest, end) for rest in range(item, len(items)))
        kind, when = received[number]
        for chosen in range(item, len(items)):
            if (
                items[chosen][1] < when
                and items[chosen][0] == kind
                and fits(chosen + 1, number + 1)
            ):
                return True
            if not lost_by(chosen, when):
                return False
        return False

    return fits(0, 0)


@given(st.lists(MOMENTS.filter(lambda moment: moment[0] != "losing"), max_size=9))
@settings(max_examples=settings().max_examples * 3)
def test_without_loss_allowed_exactly_the_prefixes_are_fine(run: list[Moment]) -> None:
    """What is received has to be a beginning of what was sent, and all of it when a run ends."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    bad, alive, unsure = outcomes(automaton, run)
    if not unsure:
        assert (not bad) == is_fine(run, ended=False)
        assert (not bad and not alive) == is_fine(run, ended=True)


BOTH = ("both", 0)
"""One step sends an item of each kind, in their order."""


@given(st.lists(MOMENTS.filter(lambda moment: moment[0] != "losing") | st.just(BOTH), max_size=7))
@settings(max_examples=settings().max_examples * 3)
def test_items_that_one_step_sends_are_judged_each(run: list[Moment]) -> None:
    """As if they were sent in two steps: also the last of them has to arrive, in its place."""
    automaton = exchange_automaton(KINDS, UNDER_WAY, at_once=2)
    apart = [("sent", kind) for kind in range(KINDS)]
    one_by_one = [two for one in run for two in (apart if one == BOTH else [one])]
    bad, alive, unsure = outcomes(automaton, run)
    if not unsure:
        assert (not bad) == is_fine(one_by_one, ended=False)
        assert (not bad and not alive) == is_fine(one_by_one, ended=True)


@given(st.lists(MOMENTS, max_size=9))
@settings(max_examples=settings().max_examples * 3)
def test_what_is_fine_is_never_blamed(run: list[Moment]) -> None:
    """With loss allowed now and then: where some reading blames nobody, the automaton does not."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    bad, alive, _ = outcomes(automaton, run)
    if is_fine(run, ended=True):
        assert not bad
        assert not alive


def test_faults_are_told_apart() -> None:
    """Nobody sent it; another one's place; and what never arrives keeps the automaton alive."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    twice = [("sent", 0), ("received", 0), ("received", 0)]
    assert outcomes(automaton, twice)[0] == {"duplicated"}
    swapped = [("sent", 0), ("sent", 1), ("received", 1)]
    assert "out of order" in outcomes(automaton, swapped)[0]
    assert outcomes(automaton, [("sent", 0)])[1]
    assert not outcomes(automaton, [("sent", 0), ("losing", 0)])[1]


def test_losing_count_is_told() -> None:
    """More under way than are counted is neither right nor wrong."""
    bad, _, unsure = outcomes(exchange_automaton(KINDS, 1), [("sent", 0), ("sent", 0)])
    assert unsure
    assert not bad


def test_what_is_lost_with_leave_is_not_counted_for_ever() -> None:
    """A host that sleeps again and again may lose any number; what comes later is judged."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)
    asleep = [("sent", 0), ("losing", 0)] * (3 * UNDER_WAY)
    for later in ([], [("sent", 1), ("received", 1)]):
        assert outcomes(automaton, asleep + later) == (set(), False, False)
    assert outcomes(automaton, [*asleep, ("sent", 0)])[1]
    too_many = [("received", 0)] * (UNDER_WAY + 1)
    assert outcomes(automaton, asleep + too_many)[0] == {"duplicated"}


def test_more_than_may_be_under_way_break_a_strict_one() -> None:
    """What is forgiven does not count among them."""
    strict = exchange_automaton(KINDS, 2, strict=True)
    asleep = [("sent", 0), ("losing", 0)] * 3
    two = [("sent", 0), ("sent", 1)]
    assert outcomes(strict, asleep + two)[0] == set()
    assert outcomes(strict, [*asleep, *two, ("sent", 0)])[0] == {"overrun"}


def test_kinds_in_one_step_keep_their_order() -> None:
    """What arrives in a step comes before what is sent in it; then kinds in the order listed."""
    automaton = exchange_automaton(KINDS, UNDER_WAY)

    def state_after(*valuations: int) -> set[int]:
        states = {automaton.start}
        for bits in valuations:
            states |= {two for one, two in automaton.choices if one in states}
            states = {automaton.after(state, bits) for state in states}
        return states

    both_sent = valuation(("sent", 0)) | valuation(("sent", 1))
    first, second = valuation(("received", 0)), valuation(("received", 1))
    assert not state_after(both_sent, first, second) & (automaton.bad.keys() | automaton.alive)
    assert state_after(both_sent, second) & automaton.bad.keys()
    echoed = valuation(("sent", 0)) | first
    assert state_after(echoed) & automaton.bad.keys()


def test_atoms_are_as_many_as_told() -> None:
    """The table has a row for each state and a place for each valuation."""
    automaton = exchange_automaton(3, 2)
    assert automaton.atoms == exchange_atoms(3) == 8
    assert len(automaton.table) == automaton.states << 8


@given(st.lists(st.tuples(st.sampled_from(["send", "deliver", "drop", "lose"]), st.integers(0, 3))))
@settings(max_examples=settings().max_examples * 3)
def test_what_a_link_drops_is_blamed_unless_it_was_forgiven(deeds: list[tuple[str, int]]) -> None:
    """A queue of items that are told apart: whoever drops one that was never in flight while loss
    was allowed is blamed, if none was forgiven before; if all that are dropped were, nobody is.
    """
    queue: list[bool] = []
    run: list[Moment] = []
    dropped: list[bool] = []
    for deed, place in deeds:
        if deed == "send" and len(queue) < UNDER_WAY:
            queue.append(False)
            run.append(("sent", 0))
        elif deed == "deliver" and queue:
            queue.pop(0)
            run.append(("received", 0))
        elif deed == "drop" and queue:
            dropped.append(queue.pop(place % len(queue)))
            run.append(("dropped", 0))
        elif deed == "lose":
            queue = [True] * len(queue)
            run.append(("losing", 0))
    bad, *_ = outcomes(exchange_automaton(KINDS, UNDER_WAY), run)
    if all(dropped):
        assert not bad
    elif "losing" not in {what for what, _ in run}:
        assert bad == {LOST}
