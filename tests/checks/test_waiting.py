"""Who waits for whom, where links are full."""

from __future__ import annotations

from modecheck.checks.verdict import check
from tests.generation.devices import device_from

RING = """
device: a ring of answers
chips:
  hub:
    states: {{silent: {rest}, busy: {rest}}}
    rules: [{{in: silent, send: [note via out], to: busy}}, {{on: note, send: [note via out]}}]
  tile:
    states: {{silent: {rest}, busy: {rest}}}
    rules:
      - {{in: silent, send: [note via across], to: busy}}
      - {{on: note, send: [note via across]}}
  lamp:
    states: {{dark: {{rest: true}}, lit: {{rest: true}}}}
    rules: [{{in: dark, send: [note via home], to: lit}}, {{on: note, send: [note via home]}}]
links:
  out: {{from: hub, to: tile, carries: {{note: event}}, when_full: wait}}
  across: {{from: tile, to: lamp, carries: {{note: event}}, when_full: wait}}
  home: {{from: lamp, to: hub, carries: {{note: event}}, when_full: wait}}
"""

WAITS = [
    "hub in busy waits for room in link out, which is full",
    "tile in busy waits for room in link across, which is full",
    "lamp in lit waits for room in link home, which is full",
]


def details_of(text: str) -> dict[str, tuple[str, ...]]:
    findings = check([device_from(text)]).findings
    return {one.id: one.details for one in findings if one.code == "deadlock"}


def test_a_deadlock_names_full_links_and_who_does_not_empty_them() -> None:
    """Also where a chip in the circle rests: its link is full all the same."""
    assert details_of(RING.format(rest="{}")) == {"deadlock:hub.busy+tile.busy": tuple(WAITS)}


def test_where_all_rest_the_receivers_of_what_is_stuck_wait_for_room() -> None:
    """No chip is outside its rest states, and three notes are never delivered."""
    told = details_of(RING.format(rest="{rest: true}"))
    assert told == {"deadlock:out.note+across.note+home.note": tuple(WAITS)}


SENDS_BY_ITSELF = """
device: one that is never heard
chips:
  tile:
    states: [speaking]
    rules: [{after: 1 s, if: hub.shut, send: [note]}]
  hub:
    states: [shut]
    defers: [note]
links: {air: {from: tile, to: hub, carries: [note], when_full: wait}}
"""


def test_a_rule_without_an_event_waits_for_room_as_well() -> None:
    """Its condition holds, so the link is all that it waits for."""
    (details,) = details_of(SENDS_BY_ITSELF).values()
    assert "tile in speaking waits for room in link air, which is full" in details
    assert not any("hub.shut" in sentence for sentence in details)
