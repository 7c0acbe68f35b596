"""The times of a device as text: a table, what decides each worst time, and slack."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from modecheck.checks.deciding import Decider, deciders
from modecheck.checks.slack import LEAST_REACH, WIDEST, Border, Slack
from modecheck.checks.times import RECONNECTION, RESPONSE, SWITCH, DeviceTimes, Measured, Timed
from modecheck.checks.wording import counted, listed
from modecheck.model.clocks import spelled
from modecheck.report.finding_text import seen_from_here
from modecheck.report.style import Style
from modecheck.report.terminal import headline, scenario_as_text
from modecheck.scenario.telling import spelled_or_none, tell

HEADINGS = {
    SWITCH: "mode switches",
    RESPONSE: "responses",
    RECONNECTION: "reconnections",
}
CLOCKS = {
    SWITCH: "from the last step of an actor, or from leaving the mode, until the other is reached",
    RESPONSE: "from the oldest moment at which it is asked for, whatever happens",
    RECONNECTION: "from the last step of an actor, or from the loss, until it is there again",
}
"""What the clock of each kind runs on."""
CELL = 11
MOST_DECIDERS = 4
"""Constants told of one time; the JSON has them all."""


def times_as_text(
    times: DeviceTimes, slack: Sequence[Slack], style: Style, *, scenarios: bool = False
) -> list[str]:
    """The lines of the report."""
    said = f"times, counted in ticks of {spelled(times.tick)}"
    lines = headline(times.product.device.name, said, style.bold, style)
    lines.append(f"  {counted(times.states, 'state')}")
    for kind, group in groupby(told(times), key=lambda one: one.kind):
        lines += ["", *_group(kind, list(group), times, style, scenarios=scenarios)]
    if not told(times):
        lines += ["", "  there is nothing to time: no two modes, no response and no pairing"]
    return [*lines, *slack_as_text(times, slack, style)]


def told(times: DeviceTimes) -> list[Timed]:
    """All but mode switches that do not exist."""
    return [one for one in times.timed if one.kind != SWITCH or one.worst or not one.complete]


def _group(
    kind: str, group: list[Timed], times: DeviceTimes, style: Style, *, scenarios: bool
) -> list[str]:
    room = style.width - 2 - 2 * (CELL + 2)
    widest = max(len(HEADINGS[kind]) - 2, *(len(one.title) for one in group))
    width = min(widest, room)
    head = f"{HEADINGS[kind]:<{width + 2}}  {'at least':>{CELL}}  {'at most':>{CELL}}"
    lines = [style.bold(head)]
    lines += [style.faint(line) for line in style.wrapped(f"({CLOCKS[kind]})", "  ", "  ")]
    for one in group:
        least, most = cells(one, times.tick)
        title = one.title
        if len(title) > width:
            lines += style.wrapped(title, "  ", "    ")
            title = ""
        row = f"  {title:<{width}}  {least:>{CELL}}  {most:>{CELL}}"
        lines.append(row.replace(most, style.error(most)) if one.exceeded else row)
        for remark in remarks(one, times):
            lines += style.wrapped(remark, "      ", "        ")
        if scenarios:
            lines += _scenarios(one, times, style)
    return lines


def cells(one: Timed, tick: Fraction) -> tuple[str, str]:
    """The best and the worst time in a word or two."""
    if not one.complete:
        return "incomplete", "incomplete"
    if one.worst is None:
        return "-", "-"
    return _time(one.best, tick), _time(one.worst, tick)


def _time(measured: Measured | None, tick: Fraction) -> str:
    if measured is None:
        return "never"
    return "unbounded" if measured.ticks is None else spelled_or_none(measured.ticks * tick)


def remarks(one: Timed, times: DeviceTimes, *, places: bool = True) -> Iterator[str]:
    """What has to be said of a time; without `places` nothing that depends on where files lie."""
    if not one.complete:
        so_far = f"stopped by {one.stopped_by}"
        if one.best is not None and one.worst is not None:
            seen = f"{_time(one.best, times.tick)} to {_time(one.worst, times.tick)}"
            so_far += f"; seen so far: {seen}"
        yield so_far
    if one.kind == RESPONSE and one.worst is None and one.complete:
        yield "it never has to wait"
    if one.limit is not None:
        verb = "breaks" if one.exceeded else "keeps"
        limit = spelled_or_none(one.limit * times.tick)
        yield f"{verb} within {limit}" if one.complete or one.exceeded else f"within {limit}"
    if one.worst is not None:
        yield from _endless(one.worst, times)
        decided = deciders(times.product, one.worst.way)
        if decided:
            shown = [
                decider_in_words(decider, times.tick, places=places)
                for decider in decided[:MOST_DECIDERS]
            ]
            more = len(decided) - len(shown)
            yield f"decided by {listed([*shown, *([f'{more} more'] if more else [])])}"
    if one.remark:
        yield one.remark


def _endless(worst: Measured, times: DeviceTimes) -> Iterator[str]:
    way = worst.way
    if worst.stands:
        state = way.moves[-1].after if way.moves else times.product.initial
        assert state is not None
        chips = (chip for chip in times.product.chips if not chip.actor)
        where = listed([f"{chip.name} in {chip.leaves[state[chip.state_field]]}" for chip in chips])
        yield f"can stay for any time with {where}"
    elif way.loop_from:
        yield f"can go round for ever, steps {way.loop_from} to {len(way.moves)} of its scenario"


def decider_in_words(decider: Decider, tick: Fraction, *, places: bool) -> str:
    """A constant with how often and how long it ran."""
    constant, times = decider.constant, decider.times
    lasted, text = spelled_or_none(decider.ticks * tick), constant.duration.text
    said = [f"{times} times, {lasted} in all"] if times > 1 else []
    said += [lasted] if times == 1 and lasted != text else []
    said += [seen_from_here(str(constant.place))] if places else []
    return f"{constant.name} {text}" + (f" ({'; '.join(said)})" if said else "")


def _scenarios(one: Timed, times: DeviceTimes, style: Style) -> Iterator[str]:
    for word, measured in (("best", one.best), ("worst", one.worst)):
        if measured is None:
            continue
        begin = measured.way.switch_from
        clock = f"its clock starts behind step {begin}" if begin else "its clock starts at once"
        yield from style.wrapped(f"the {word} time; {clock}:", "  ", "  ")
        yield from scenario_as_text(tell(times.product, measured.way), style, (begin + 1,))


def slack_as_text(times: DeviceTimes, slack: Sequence[Slack], style: Style) -> list[str]:
    """For each constant the requirements that break when it is moved."""
    if not slack:
        return []
    lines = ["", style.bold("slack (a requirement holds while the constant stays as told)")]
    for constant, group in groupby(slack, key=lambda one: one.constant):
        matters = [one for one in group if one.matters]
        if not matters:
            continue
        place = seen_from_here(str(constant.place))
        lines += style.wrapped(f"{constant.name}, now {constant.duration.text} ({place})", "  ")
        for one in matters:
            words = slack_in_words(one, times.tick)
            lines += style.wrapped(f"{one.need}: {words}", "    ", "      ")
    if not any(one.matters for one in slack):
        lines.append("  no requirement breaks")
    said = (
        f"what is not told breaks nothing down to 0 and up to {WIDEST} times as much more "
        f"(at least {LEAST_REACH} ticks)"
    )
    lines += [style.faint(line) for line in style.wrapped(said, "  ", "  ")]
    if not all(one.down.known and one.up.known for one in slack):
        lines.append("  incomplete: the bound of explorations (--explorations) was hit")
    return lines


def slack_in_words(one: Slack, tick: Fraction) -> str:
    """Between which times a constant may be, and how far it can move."""
    parts = []
    end = "" if one.constant.duration.high == one.constant.duration.low else "its earlier end "
    for word, border, sign in (("at least", one.down, "-"), ("at most", one.up, "+")):
        if border.breaks:
            by = spelled_or_none(abs(border.holds_at - one.now) * tick)
            parts.append(f"{word} {_at(border, tick)} ({sign}{by})")
        elif not border.known:
            parts.append(f"{word}: incomplete, holds at {_at(border, tick)}")
    return end + ", ".join(parts)


def _at(border: Border, tick: Fraction) -> str:
    return spelled_or_none(border.holds_at * tick)
