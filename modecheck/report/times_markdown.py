"""The times of a device as Markdown for a merge request."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from modecheck.checks.device_time_bounds import DeviceTimes, Timed
from modecheck.checks.slack import AllSlack
from modecheck.model.clocks import spelled
from modecheck.report.as_markdown import as_code, escaped, folded, scenario_as_markdown, table
from modecheck.report.times_text import (
    CLOCKS,
    COLUMNS,
    HEADINGS,
    SLACK_INCOMPLETE,
    cells,
    explored_in_words,
    remarks,
    slack_in_words,
    told,
    undecided_in_words,
)


def times_as_markdown(times: DeviceTimes, slack: AllSlack | None) -> str:
    """A table for each kind, and the worst scenarios, folded."""
    name = escaped(times.product.device.name)
    lines = [f"## {name}: times, counted in ticks of {spelled(times.tick)}", ""]
    for kind, group in groupby(told(times), key=lambda one: one.kind):
        every = list(group)
        rows = [[HEADINGS[kind], *COLUMNS[kind], "remarks"]]
        rows += [_row(one, times) for one in every]
        lines += [*table(rows), "", escaped(f"Clock: {CLOCKS[kind]}."), ""]
        for one in every:
            lines += _scenario(one)
    if undecided := undecided_in_words(times):
        lines += [escaped(undecided), ""]
    return "\n".join([*lines, *_slack(times, slack)]).rstrip("\n") + "\n"


def _row(one: Timed, times: DeviceTimes) -> list[str]:
    least, most = map(escaped, cells(one, times.tick))
    said = escaped("; ".join(remarks(one, times)))
    return [as_code(one.title), least, f"**{most}**" if one.exceeded else most, said]


def _scenario(one: Timed) -> list[str]:
    if one.worst is None or not one.worst.trace.moves:
        return []
    begin = one.worst.trace.switch_from
    title = f"the worst scenario of {one.title}; its clock starts after step {begin}"
    steps = scenario_as_markdown(one.worst.trace.told, (begin + 1,))
    return folded(title, steps, unfolded=False)


def _slack(times: DeviceTimes, slack: AllSlack | None) -> Iterator[str]:
    if slack is None:
        return
    rows = [
        [as_code(one.constant.name), escaped(one.constant.duration.text), as_code(one.need),
         escaped(slack_in_words(one, times.tick)), escaped(explored_in_words(one, times.tick))]
        for one in slack.every
    ]  # fmt: skip
    if rows:
        yield from table([["constant", "now", "requirement", "slack", "explored"], *rows])
    if not slack.complete:
        yield from ("", f"Slack is {SLACK_INCOMPLETE}")
