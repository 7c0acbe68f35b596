"""The gap table: what each state does with each event, and what arrives without an answer."""

from __future__ import annotations

from hypothesis import assume, given, settings

from modecheck.checks.gaps import GapTable, gap_tables
from modecheck.engine.search.exploration import explore
from modecheck.product.composition import compose
from tests.generation.devices import Drawn, device_from, devices
from tests.second_reading.search import search
from tests.second_reading.worlds import holds_in

MOST_STATES = 150

DEVICE = """
device: gaps
chips:
  tile:
    states: {idle: {rest: true}}
    rules: [{send: [hello]}]
  hub:
    states: {linked: {rest: true}, dark: {rest: true}, never: {}}
    rules:
      - {in: linked, on: hello, to: dark}
      - {in: dark, on: wake, if: tile.idle, to: linked}
    discards: {dark: [bye]}
    defers: {never: [hello]}
actors:
  player: {states: {here: {}}, rules: [{signal: [wake]}]}
links: {air: {from: tile, to: hub, carries: [hello, bye], when_full: wait}}
"""


def tables(text: str) -> list[GapTable]:
    return gap_tables(explore(compose(device_from(text))))


def test_table_has_a_cell_for_each_state_and_event() -> None:
    """Chips that hear something have a table; actors and chips that hear nothing have none."""
    (table,) = tables(DEVICE)
    assert table.chip == "hub"
    assert table.leaves == ("linked", "dark", "never")
    assert [event.label for event in table.events] == ["hello", "bye", "wake"]
    assert len(table.cells) == 9


def test_cell_tells_what_happens() -> None:
    """Where rules lead, and what is said of the event when none is enabled."""
    (table,) = tables(DEVICE)
    told = {
        f"{leaf} {event.label}": (cell.targets, cell.otherwise)
        for (leaf, event), cell in table.cells.items()
        if cell.targets or cell.otherwise
    }
    assert told == {
        "linked hello": (("dark",), ""),
        "dark bye": ((), "discard"),
        "dark wake": (("linked",), ""),
        "never hello": ((), "defer"),
    }


def test_gap_is_what_arrives_without_an_answer() -> None:
    """A message that is unspecified, and a signal that finds nobody; what never arrives is none."""
    (table,) = tables(DEVICE)
    assert [(leaf, event.label) for leaf, event in table.gaps()] == [
        ("linked", "wake"),
        ("dark", "hello"),
    ]


FULL = """
device: full links
chips:
  tile:
    states: {ready: {rest: true}}
    rules:
      - {on: step, send: [note]}
      - {on: echo, send: [note]}
    discards: [echo]
  hub:
    states: {on: {rest: true}}
    rules: [{send: [echo]}, {on: note}]
actors:
  player: {states: {here: {}}, rules: [{signal: [step]}]}
links:
  air: {from: tile, to: hub, carries: [note], when_full: wait}
  back: {from: hub, to: tile, carries: [echo], when_full: wait}
"""


def test_cell_tells_where_a_full_link_kept_a_rule_from_being_taken() -> None:
    """Such an event has an answer. It is not discarded either: a rule without a condition of its
    own takes the message, or the message waits.
    """
    tile, hub = tables(FULL)
    blocked = {
        event.label: (cell.blocked, cell.otherwise) for (_, event), cell in tile.cells.items()
    }
    assert blocked == {"echo": (True, ""), "step": (True, "")}
    assert tile.gaps() == hub.gaps() == []
    assert not any(cell.blocked for cell in hub.cells.values())


@given(devices(starts=True))
@settings(max_examples=settings().max_examples)
def test_gaps_of_messages_are_the_unspecified_ones(drawn: Drawn) -> None:
    """On random devices the gaps of messages are exactly the findings about unspecified receptions,
    and an event arrives in a state where a world has it at the head of a link that is up.
    """
    space = explore(compose(drawn.read()), max_states=MOST_STATES)
    assume(space.complete)
    assume(all(code != "out-of-range" for code, _ in space.failures))
    chips = space.product.device.chips.values()
    found = gap_tables(space)
    gaps = {
        f"{table.chip}.{leaf}.{event.name}"
        for table in found
        for leaf, event in table.gaps()
        if event.link
    }
    actors = tuple(f"{chip.name}." for chip in chips if chip.actor)
    unspecified = {name for code, name in space.failures if code == "unspecified-reception"}
    assert gaps == {name for name in unspecified if not name.startswith(actors)}
    arrivals = {
        (world.at[link.receiver], link.name, world.waits[link.name][0].message)
        for world in search(space.product.device, MOST_STATES).worlds
        for link in space.product.device.links.values()
        if world.waits[link.name] and holds_in(link.up_when, world)
    }
    told = {
        (leaf, event.link, event.name)
        for table in found
        for (leaf, event), cell in table.cells.items()
        if cell.arrives and event.link
    }
    receivers = {link.name: link.receiver + "." for link in space.product.device.links.values()}
    assert told == {one for one in arrivals if not receivers[one[1]].startswith(actors)}
