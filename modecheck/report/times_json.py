"""The times of a device as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from modecheck.checks.deciding import deciders
from modecheck.checks.device_time_bounds import DeviceTimes, MeasuredTime, Timed
from modecheck.checks.slack import AllSlack, Slack
from modecheck.model.clocks import spelled
from modecheck.report.as_json import notes_as_json, step_as_json
from modecheck.scenario.telling import spelled_or_none

Json = dict[str, Any]


def times_as_json(times: DeviceTimes, slack: AllSlack | None) -> Json:
    """Everything, with both scenarios of each time; `slack` is null if it was not requested."""
    device = times.product.device
    return {
        "device": device.name,
        "file": device.file,
        "notes": notes_as_json(device),
        "tick": spelled(times.tick),
        "states": times.states,
        "complete": times.complete,
        "times": [_timed(times, one) for one in times.timed],
        "slack": None if slack is None else [_slack(one, times.tick) for one in slack.every],
        "slack_complete": None if slack is None else slack.complete,
    }


def _timed(times: DeviceTimes, one: Timed) -> Json:
    return {
        "kind": one.kind,
        "name": one.name,
        "from": one.source,
        "to": one.target,
        "complete": one.complete,
        "stopped_by": one.stopped_by or None,
        "within": None if one.limit is None else spelled_or_none(one.limit * times.tick),
        "exceeded": one.exceeded,
        "remark": one.remark or None,
        "best_is_from_asking": one.asked,
        "best": _measured(times, one.best),
        "worst": _measured(times, one.worst),
    }


def _measured(times: DeviceTimes, measured: MeasuredTime | None) -> Json | None:
    if measured is None:
        return None
    ticks, trace = measured.ticks, measured.trace
    return {
        "ticks": ticks,
        "time": None if ticks is None else spelled_or_none(ticks * times.tick),
        "unbounded": ticks is None,
        "stands": measured.stands,
        "clock_starts_after": trace.switch_from,
        "loop_from": trace.loop_from or None,
        "decided_by": [
            {
                "constant": decider.constant.name,
                "text": decider.constant.duration.text,
                "file": decider.constant.place.file,
                "line": decider.constant.place.line,
                "column": decider.constant.place.column,
                "times": decider.times,
                "lasted": spelled_or_none(decider.ticks * times.tick),
            }
            for decider in deciders(times.product, trace)
        ],
        "scenario": list(map(step_as_json, trace.told)),
    }


def _slack(one: Slack, tick: Fraction) -> Json:
    return {
        "constant": one.constant.name,
        "requirement": one.need,
        "file": one.constant.place.file,
        "line": one.constant.place.line,
        "column": one.constant.place.column,
        "now": spelled_or_none(one.explored.now * tick),
        "from": spelled_or_none(one.explored.lowest * tick),
        "to": spelled_or_none(one.explored.highest * tick),
        "every_length_explored": one.explored.every,
        "complete": one.known,
        "broken_at": _lengths(one.broken, tick),
        "holds_at": _lengths(one.holds, tick),
        "undecided_at": _lengths(one.undecided, tick),
    }


def _lengths(lengths: Sequence[int], tick: Fraction) -> list[str]:
    return [spelled_or_none(length * tick) for length in lengths]
