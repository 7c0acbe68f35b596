"""The times of a device for people: a table, what decides each worst time, and slack."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from modecheck.checks.deciding import Decider, deciders
from modecheck.checks.device_time_bounds import (
    RECONNECTION,
    RESPONSE,
    SWITCH,
    DeviceTimes,
    MeasuredTime,
    Timed,
)
from modecheck.checks.slack import AllSlack, Slack
from modecheck.model.clocks import spelled
from modecheck.model.wording import counted, listed
from modecheck.report import document_tree as doc
from modecheck.report.finding_text import seen_from_here
from modecheck.scenario.telling import spelled_or_none

HEADINGS = {
    SWITCH: "mode switches",
    RESPONSE: "responses",
    RECONNECTION: "reconnections",
}
CLOCKS = {
    SWITCH: "until the other mode is reached; at best: from the actor's step that requests the "
    "switch, or from leaving the mode if no request is needed; at most: from the last step of an "
    "actor, or from leaving the mode",
    RESPONSE: "from the oldest request that is still pending, in every run",
    RECONNECTION: "from the last step of an actor, or from the loss, until the connection is back",
}
"""From when until when the clock of each kind runs."""
SLACK_INCOMPLETE = "incomplete: the bound of --explorations or of an exploration was hit"
COLUMNS = {
    SWITCH: ("at best", "at most"),
    RESPONSE: ("at least", "at most"),
    RECONNECTION: ("at least", "at most"),
}
"""Names of the best and the worst time of each kind. For a switch they use different clocks."""
MOST_DECIDERS = 4
"""Constants listed for one time; the JSON has them all."""


def times_report(
    times: DeviceTimes, slack: AllSlack | None, *, scenarios: bool = False
) -> list[doc.Block]:
    """The report, with the scenarios of the best and the worst times if wanted."""
    said = f"times, counted in ticks of {spelled(times.tick)}"
    return [
        doc.Title(times.product.device.name, said, doc.STRONG),
        doc.Paragraph(counted(times.states, "state")),
        *_kinds(times, scenarios=scenarios),
        *_undecided(times),
        *_slack(times, slack),
    ]


def _kinds(times: DeviceTimes, *, scenarios: bool) -> Iterator[doc.Block]:
    for kind, group in groupby(told(times), key=lambda one: one.kind):
        rows = tuple(_row(one, times, scenarios=scenarios) for one in group)
        yield doc.BLANK
        yield doc.Measures((HEADINGS[kind], *COLUMNS[kind]), CLOCKS[kind], rows)
    if not times.timed:
        yield doc.BLANK
        yield doc.Paragraph(
            "nothing to time: the device has no two modes, no response and no pairing"
        )


def told(times: DeviceTimes) -> list[Timed]:
    """All times, without mode switches that do not exist and times of which nothing is known."""
    return [
        one
        for one in times.timed
        if not one.silent and (one.kind != SWITCH or one.worst or not one.complete)
    ]


def _undecided(times: DeviceTimes) -> Iterator[doc.Block]:
    """How many times are not decided, and why."""
    undecided = [one for one in times.timed if not one.complete]
    if undecided:
        why = listed(list(dict.fromkeys(one.stopped_by for one in undecided)))
        many = f"{len(undecided):,} of {counted(len(times.timed), 'time')}"
        yield doc.BLANK
        yield doc.Paragraph(f"incomplete: {many} undecided, stopped by {why}")


def _row(one: Timed, times: DeviceTimes, *, scenarios: bool) -> doc.Measure:
    least, most = cells(one, times.tick)
    figures = (doc.Fragment(least), doc.Fragment(most, doc.BAD if one.exceeded else ""))
    shown = tuple(_scenarios(one)) if scenarios else ()
    return doc.Measure(one.title, figures, tuple(remarks(one, times)), shown)


def cells(one: Timed, tick: Fraction) -> tuple[str, str]:
    """The best and the worst time, each in a word or two."""
    if not one.complete:
        return "incomplete", "incomplete"
    if one.worst is None:
        return "-", "-"
    return _time(one.best, tick), _time(one.worst, tick)


def _time(measured: MeasuredTime | None, tick: Fraction) -> str:
    if measured is None:
        return "never"
    return "unbounded" if measured.ticks is None else spelled_or_none(measured.ticks * tick)


def remarks(one: Timed, times: DeviceTimes, *, places: bool = True) -> Iterator[str]:
    """Remarks on a time; without `places`, none depends on where the files lie."""
    if not one.complete:
        so_far = f"stopped by {one.stopped_by}"
        if one.best is not None and one.worst is not None:
            seen = f"{_time(one.best, times.tick)} to {_time(one.worst, times.tick)}"
            so_far += f"; seen so far: {seen}"
        yield so_far
    if one.kind == RESPONSE and one.worst is None and one.complete:
        yield "never pending for any time"
    if one.asked and _has_longer_best(one):
        yield "“at most” is counted from leaving the mode, and leaving takes time itself"
    if one.limit is not None:
        verb = "exceeds" if one.exceeded else "meets"
        limit = spelled_or_none(one.limit * times.tick)
        yield f"{verb if one.complete or one.exceeded else 'has'} the limit of {limit}"
    if one.worst is not None:
        yield from _endless(one.worst, times)
        decided = deciders(times.product, one.worst.trace)
        if decided:
            shown = [
                decider_in_words(decider, times.tick, places=places)
                for decider in decided[:MOST_DECIDERS]
            ]
            more = len(decided) - len(shown)
            yield f"decided by {listed([*shown, *([f'{more} more'] if more else [])])}"
    if one.remark:
        yield one.remark


def _has_longer_best(one: Timed) -> bool:
    best, worst = (None if m is None else m.ticks for m in (one.best, one.worst))
    return best is not None and worst is not None and best > worst


def _endless(worst: MeasuredTime, times: DeviceTimes) -> Iterator[str]:
    trace = worst.trace
    if worst.stands:
        state = trace.moves[-1].after if trace.moves else times.product.initial
        assert state is not None
        chips = (chip for chip in times.product.chips if not chip.actor)
        where = listed([f"{chip.name} in {chip.leaves[state[chip.state_field]]}" for chip in chips])
        yield f"can stay forever with {where}"
    elif trace.loop_from:
        yield f"can loop forever: steps {trace.loop_from} to {len(trace.moves)} of its scenario"


def decider_in_words(decider: Decider, tick: Fraction, *, places: bool) -> str:
    """A constant with how often and for how long it ran."""
    constant, times = decider.constant, decider.times
    lasted, text = spelled_or_none(decider.ticks * tick), constant.duration.text
    said = [f"{times} times, {lasted} in total"] if times > 1 else []
    said += [lasted] if times == 1 and lasted != text else []
    said += [seen_from_here(str(constant.place))] if places else []
    return f"{constant.name} {text}" + (f" ({'; '.join(said)})" if said else "")


def _scenarios(one: Timed) -> Iterator[doc.Block]:
    for word, measured in (("best", one.best), ("worst", one.worst)):
        if measured is not None:
            begin = measured.trace.switch_from
            starts = f"after step {begin}" if begin else "at step 1"
            yield doc.Paragraph(f"the {word} time; its clock starts {starts}:", hang=0)
            yield doc.Steps(measured.trace.told, (begin + 1,))


def _slack(times: DeviceTimes, slack: AllSlack | None) -> Iterator[doc.Chapter]:
    """For each constant, the lengths explored and the requirements that break at them."""
    if slack is None:
        return
    blocks: list[doc.Block] = []
    for constant, group in groupby(slack.every, key=lambda one: one.constant):
        every = list(group)
        place = seen_from_here(str(constant.place))
        now = f", now {constant.duration.text} ("
        blocks.append(doc.Paragraph((doc.code(constant.name), now, doc.code(place), ")"), hang=0))
        said = explored_in_words(every[0], times.tick)
        blocks.append(doc.Paragraph(said, doc.FAINT, indent=4))
        telling = [one for one in every if one.matters]
        for one in telling:
            words = slack_in_words(one, times.tick)
            blocks.append(doc.Paragraph((doc.code(one.need), f": {words}"), indent=4))
        if not telling:
            blocks.append(doc.Paragraph("no requirement breaks at these lengths", indent=4))
    if slack.complete and not slack.every:
        blocks.append(
            doc.Paragraph(
                "nothing to vary: no duration, or no requirement that holds", wrapped=False
            )
        )
    if not slack.complete:
        blocks.append(doc.Paragraph(SLACK_INCOMPLETE, wrapped=False))
    yield doc.Chapter("slack (what breaks if a constant is longer or shorter)", tuple(blocks))


def explored_in_words(one: Slack, tick: Fraction) -> str:
    """The lengths of a constant that were explored; nothing is known about others."""
    explored = one.explored
    end = "" if one.constant.duration.high == one.constant.duration.low else " of its lower end"
    if explored.every:
        reach = f"{_at(explored.lowest, tick)} to {_at(explored.highest, tick)}"
        return f"explored: every length{end} from {reach}, tick by tick"
    at = lengths_in_words(explored.lengths, tick)
    return f"explored: the lengths{end} {at}; nothing is known about others"


def slack_in_words(one: Slack, tick: Fraction) -> str:
    """At which explored lengths a requirement is broken, and at which it holds."""
    parts = (("broken at", one.broken), ("undecided at", one.undecided), ("holds at", one.holds))
    return "; ".join(f"{word} {lengths_in_words(at, tick)}" for word, at in parts if at)


def lengths_in_words(lengths: Sequence[int], tick: Fraction) -> str:
    """Lengths in ticks, consecutive ones as a range."""
    ranges: list[tuple[int, int]] = []
    for length in lengths:
        if ranges and ranges[-1][1] == length - 1:
            ranges[-1] = (ranges[-1][0], length)
        else:
            ranges.append((length, length))
    said = [
        _at(low, tick) if low == high else f"{_at(low, tick)} to {_at(high, tick)}"
        for low, high in ranges
    ]
    return ", ".join(said)


def _at(length: int, tick: Fraction) -> str:
    return spelled_or_none(length * tick)
