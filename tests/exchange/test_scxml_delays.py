"""Which delayed events of a chart become `after`, and which a named timer."""

from __future__ import annotations

from pathlib import Path

import pytest

from modecheck.exchange.scxml_reading import read_scxml

CHART = """\
<scxml xmlns="http://www.w3.org/2005/07/scxml" version="1.0" datamodel="ecmascript">
  <datamodel><data id="x" expr="false"/></datamodel>
  <state id="a"><transition event="go" target="b"/></state>
  <state id="b">
    <onentry><send event="due" id="due" delay="2ms"/></onentry>
    <onexit><cancel sendid="due"/></onexit>
    <transition event="flip"><assign location="x" expr="!x"/></transition>
    <transition event="due" target="a"/>
  </state>
  <state id="c"><transition event="go" target="b"/></state>
</scxml>
"""
SEND = '<send event="due" id="due" delay="2ms"/>'
CANCEL = '<cancel sendid="due"/>'
NAMED = {
    "on a condition": ((SEND, f'<if cond="x">{SEND}</if>'),),
    "stopped on a condition": ((CANCEL, f'<if cond="x">{CANCEL}</if>'),),
    "awaited in another state": (
        ('<state id="c">', '<state id="c"><transition event="due" target="a"/>'),
    ),
    "never stopped": ((f"<onexit>{CANCEL}</onexit>", ""),),
    "a rule that stays does not send it again": (('event="due" target="a"', 'event="due"'),),
}


def waits(text: str, folder: Path) -> tuple[set[str], dict[str, str]]:
    """For what rules wait, and the named timers."""
    path = folder / "chart.scxml"
    path.write_text(text, encoding="utf-8")
    chip = read_scxml(str(path)).chip
    return {rule.waits[0] for rule in chip.rules if rule.waits is not None}, dict(chip.timers)


def test_what_a_state_sends_itself_whenever_it_is_entered_is_after(tmp_path: Path) -> None:
    """It is sent and cancelled in any case, and only the state's own rules wait for it."""
    assert waits(CHART, tmp_path) == ({"after"}, {})


@pytest.mark.parametrize("how", NAMED)
def test_any_other_delayed_event_is_a_named_timer(how: str, tmp_path: Path) -> None:
    """`after` would begin, end or be heard elsewhere."""
    text = CHART
    for old, new in NAMED[how]:
        assert old in text
        text = text.replace(old, new, 1)
    assert waits(text, tmp_path) == ({"expires"}, {"due": "2 ms"})
