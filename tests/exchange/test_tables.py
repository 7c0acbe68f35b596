"""Tables of states and events: both shapes, as spreadsheet programs write them, and back again."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.checks.gaps import gap_tables
from modecheck.engine.search.exploration import explore
from modecheck.exchange.chip_yaml import chip_yaml
from modecheck.exchange.table_cells import csv_text, read_rows
from modecheck.exchange.table_gaps import gap_matrix
from modecheck.exchange.table_reading import read_table
from modecheck.exchange.table_writing import table_of
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput, Notebook
from modecheck.model.parts import Device
from modecheck.model.text_files import HeldTexts, instead_of_files, real_path
from modecheck.product.composition import compose
from tests.exchange.round_trips import device_at, kinds_of_chips, meaning, with_chip
from tests.exchange.test_scxml_round_trip import EVERYTHING, NOT_EXACT

ALWAYS = (
    ("tandem/device.yaml", "hub"),
    ("starter/device.yaml", "receiver"),
    ("small/session.yaml", "hub"),
)


def from_rows(device: Device, name: str, folder: Path) -> Device:
    """The device with a chip that was written as rows and read again."""
    rows = table_of(device, device.chips[name]).rows
    (folder / "chip.csv").write_text(csv_text(rows), encoding="utf-8", newline="")
    return with_chip(device, name, chip_yaml(read_table(str(folder / "chip.csv"))), folder)


def is_exact(path: str, name: str, folder: Path) -> bool:
    """Whether a chip is the same after the round trip."""
    device = device_at(path)
    return meaning(device.chips[name]) == meaning(from_rows(device, name, folder).chips[name])


@pytest.mark.parametrize(("path", "name"), ALWAYS)
def test_a_chip_is_the_same_after_it_was_a_table(path: str, name: str, tmp_path: Path) -> None:
    """With its states, variables, timers, rules and their order, and all that is said of them."""
    assert is_exact(path, name, tmp_path)


@pytest.mark.thorough
def test_every_bundled_chip_is_the_same_after_it_was_a_table(tmp_path: Path) -> None:
    """But for those whose rules have names that no file can give, and these are named."""
    kinds = kinds_of_chips()
    assert len(kinds) > 230
    assert {kind for kind in kinds if not is_exact(*kind, tmp_path)} == NOT_EXACT
    for path, name in kinds:
        unsaid = table_of(device_at(path), device_at(path).chips[name]).unsaid
        assert bool(unsaid) == ((path, name) in NOT_EXACT)


def test_what_no_bundled_chip_has_is_the_same_as_well(tmp_path: Path) -> None:
    """Branches, lists, values assigned together, odd times, all that is said of a part."""
    (tmp_path / "all.yaml").write_text(EVERYTHING, encoding="utf-8")
    device = read_device(str(tmp_path / "all.yaml"))
    back = from_rows(device, "hub", tmp_path)
    before, after = meaning(device.chips["hub"]), meaning(back.chips["hub"])
    for key, found in before.items():
        assert after[key] == found, key


def test_a_gap_matrix_is_read_as_the_rules_for_events(tmp_path: Path) -> None:
    """All rules of starter's receiver wait for events, so that it is the same chip but for names
    and sentences of rules, for which a cell has no room.
    """
    device = device_at("starter/device.yaml")
    tables = [one for one in gap_tables(explore(compose(device))) if one.chip == "receiver"]
    (tmp_path / "chip.csv").write_text(csv_text(gap_matrix(device, tables)), encoding="utf-8")
    text = chip_yaml(read_table(str(tmp_path / "chip.csv")))
    back = with_chip(device, "receiver", text, tmp_path).chips["receiver"]
    before, after = meaning(device.chips["receiver"]), meaning(back)
    for key in ("states", "initial", "variables", "timers", "replies"):
        assert after[key] == before[key], key
    assert (
        explore(compose(device)).state_count
        == explore(compose(with_chip(device, "receiver", text, tmp_path))).state_count
    )


CONSTANTS = """
device: constants
constants: {step: 2}
chips:
  hub:
    constants: {most: 3, step: 1, loud: true, steps: [1, -2, 4]}
    variables: {n: {range: [-2, most]}, lit: bool}
    states: {here: {rest: true}}
    rules:
      up: {on: tap, if: n < most, do: "n = min(n + step, most)", send: "gain(steps[n % 3])"}
      down: {on: tap, if: n == most, do: ["n += steps[1] * step", lit = loud], signal: [dim(most)]}
  lamp:
    states: {here: {rest: true}}
    rules: [{on: gain}]
links: {air: {from: hub, to: lamp, carries: {gain: {range: [-2, 4]}}, when_full: drop_new}}
signals: {dim: {range: [0, 3]}}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""


def test_constants_of_a_chip_are_written_as_their_values(tmp_path: Path) -> None:
    """A chip file made of a table has no constants, and the device may have others so called."""
    (tmp_path / "all.yaml").write_text(CONSTANTS, encoding="utf-8")
    device = read_device(str(tmp_path / "all.yaml"))
    table = table_of(device, device.chips["hub"])
    back = from_rows(device, "hub", tmp_path)
    assert table.unsaid == ()
    assert meaning(back.chips["hub"]) == meaning(device.chips["hub"])
    matrix = gap_matrix(device, gap_tables(explore(compose(device))))
    assert "most" not in csv_text(matrix)


def test_a_constant_that_is_called_as_a_value_is_named(tmp_path: Path) -> None:
    """Where `low` stands alone, it depends on the place what it means."""
    text = CONSTANTS.replace("lit: bool", "lit: bool, level: {one_of: [low, high]}")
    text = text.replace("most: 3,", "most: 3, low: 1,")
    (tmp_path / "all.yaml").write_text(text, encoding="utf-8")
    device = read_device(str(tmp_path / "all.yaml"))
    (told,) = table_of(device, device.chips["hub"]).unsaid
    assert "the constant 'low' of the chip is called as a value of a variable" in told.text


FORMULAS = """
device: formulas
chips:
  hub:
    about: "=HYPERLINK(1)"
    variables: {n: {range: [-3, 3], start: -3}}
    states: {here: {rest: true, about: "@SUM(1)"}}
    rules:
      up: {on: tap, if: -n < 3, do: "n = -n", text: "=2+3, says \\"hi\\""}
      down: {on: tap, do: n = 1, text: "'-1"}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""


def test_no_cell_is_a_formula(tmp_path: Path) -> None:
    """A spreadsheet program computes what begins with =, +, - or @, or calls another program: the
    Common Weakness Enumeration, CWE-1236. Numbers and ranges stay as they are.
    """
    (tmp_path / "all.yaml").write_text(FORMULAS, encoding="utf-8")
    device = read_device(str(tmp_path / "all.yaml"))
    back = from_rows(device, "hub", tmp_path).chips["hub"]
    assert meaning(back) == meaning(device.chips["hub"])
    cells = list(csv.reader((tmp_path / "chip.csv").read_text(encoding="utf-8").splitlines()))
    suspect = {one for row in cells for one in row if one[:1] in "=+-@" and one}
    assert suspect == {"-3 to 3", "-3"}
    assert {"'-n < 3", "''-1"} <= {one for row in cells for one in row}


def test_a_mark_that_is_no_formula_has_its_place(tmp_path: Path) -> None:
    """The apostrophe is a character of the file, and none of the cell."""
    path = tmp_path / "chip.csv"
    path.write_text("state,event,condition,next\nhere,tap,'-m < < 3,\n", encoding="utf-8")
    with pytest.raises(InvalidInput, match=r"chip.csv:2:16: "):
        read_table(str(path))


GAPS = """
device: gaps
chips:
  tile:
    states: {idle: {rest: true}}
    rules: [{send: [hello(0)]}, {send: [bye]}]
  hub:
    states: {linked: {rest: true}, dark: {rest: true}, never: {}}
    rules:
      - {in: linked, on: hello, if: value > 0, to: dark}
      - {in: dark, on: wake, if: tile.idle, signal: nod}
    discards: {dark: [bye]}
    defers: {never: [hello]}
actors:
  player: {states: {here: {}}, rules: [{signal: [wake]}]}
links: {air: {from: tile, to: hub, carries: {hello: {range: [0, 1]}, bye: {}}, when_full: wait}}
"""


def test_a_cell_says_what_a_state_does_with_an_event(tmp_path: Path) -> None:
    """Conditions, next states, actions; what is discarded or deferred; what has no answer."""
    (tmp_path / "gaps.yaml").write_text(GAPS, encoding="utf-8")
    device = read_device(str(tmp_path / "gaps.yaml"))
    matrix = gap_matrix(device, gap_tables(explore(compose(device))))
    assert matrix[-4:] == [
        ("state", "hello", "bye", "wake"),
        ("linked", "[value > 0] dark\nno answer", "no answer", "no rule"),
        ("dark", "", "discarded", "[tile.idle] / signal nod"),
        ("never", "deferred", "", ""),
    ]


def test_tables_of_several_chips_have_a_column_for_the_chip() -> None:
    """Of which one is read; events of another chip leave its cells empty."""
    device = device_at("starter/device.yaml")
    matrix = gap_matrix(device, gap_tables(explore(compose(device))))
    assert matrix[0][:2] == ("chip", "state")
    assert {row[0] for row in matrix[1:]} == {"pedal", "receiver"}
    assert {len(row) for row in matrix} == {len(matrix[0])}


ROWS = """\
chip,lamp
variable,level,0 to 3
timer,patience,20 ms
rest,dark
state,event,condition,action,next
dark,tap,level < 3,level += 1; start patience,lit
dark,tap,,,discarded
lit,expires patience,,"level = 0
signal gone",dark
"dark, lit",after 2 ms to 5 ms,not (level == 0),,
"""
MATRIX = """\
chip,lamp
variable,level,0 to 3
timer,patience,20 ms
rest,dark
state,tap,expires patience,after 2 ms to 5 ms
dark,"[level < 3] lit / level += 1; start patience
discarded",,[not (level == 0)]
lit,,dark / level = 0; signal gone,[not (level == 0)]
"""


def read_text(text: str, folder: Path, encoding: str = "utf-8") -> str:
    """The chip file of a table, without its first line, which names the table."""
    (folder / "lamp.csv").write_bytes(text.encode(encoding))
    return chip_yaml(read_table(str(folder / "lamp.csv"))).partition("\n")[2]


def test_both_shapes_say_the_same(tmp_path: Path) -> None:
    """An invented lamp, as a row for each transition and as a matrix, but for the order of rules
    for different events, which says nothing.
    """
    rows, matrix = read_text(ROWS, tmp_path), read_text(MATRIX, tmp_path)
    assert sorted(rows.splitlines()) == sorted(matrix.splitlines())
    assert "after: [2 ms, 5 ms]" in rows
    assert "do: level = 0, signal: gone, to: dark" in rows


def test_equal_cells_are_one_rule_only_where_no_order_is_lost(tmp_path: Path) -> None:
    """A cell with several entries keeps them together, in their order."""
    text = read_text("variable,n,0 to 3\nstate,tap\na,b\nb,b\nc,[n > 1] a\n,\n", tmp_path)
    assert "{in: [a, b], on: tap, to: b}" in text
    text = read_text('variable,n,0 to 3\nstate,tap\na,b\nb,"[n > 1] a\nb"\n', tmp_path)
    first, second = "{in: a, on: tap, to: b}", "{in: b, on: tap, if: n > 1, to: a}"
    assert f"rules: [{first}, {second}, {{in: b, on: tap, to: b}}]" in text


def test_further_columns_are_the_keys_of_the_same_names(tmp_path: Path) -> None:
    """Also a priority, which no bundled chip has in a table of its own."""
    columns = "state,event,next,priority,text,fair,weight,concerns,steps\n"
    text = read_text(f"{columns}a,tap,a,2,taps,weak,3/4,radio power,separate\n", tmp_path)
    for key in ("priority: 2", "text: taps", "fair: weak", "concerns: [radio, power]"):
        assert key in text
    assert "steps: separate" in text
    assert "3/4" in text


@pytest.mark.parametrize(
    ("separator", "ends", "mark"),
    [(",", "\r\n", ""), (";", "\n", "\ufeff"), ("\t", "\r\n", "\ufeff"), (";", "\r", "")],
)
def test_separators_ends_of_lines_and_marks_do_not_matter(
    separator: str, ends: str, mark: str, tmp_path: Path
) -> None:
    """Semicolons are what spreadsheet programs write where the decimal point is a comma (common
    practice, no source); lines end with CR LF in RFC 4180.
    """
    table = list(csv.reader(ROWS.splitlines(keepends=True)))
    lines = [
        separator.join(f'"{one}"' if one and set(one) & set(",;\t\n") else one for one in row)
        for row in table
    ]
    text = mark + "".join(f"{line}{ends}" for line in lines)
    assert read_text(text, tmp_path) == read_text(ROWS, tmp_path)


@given(
    st.lists(
        st.lists(st.text(st.sampled_from("ab ,;'=-1\"\n\té€"), max_size=6), min_size=2, max_size=4),
        min_size=1,
        max_size=5,
    )
)
def test_cells_know_where_they_stand(rows: list[list[str]]) -> None:
    """Beside the standard library, which has written them: each character of each cell is found at
    its place in the file, doubled quotes and lines inside of a cell included (RFC 4180, 2.5 on).
    """
    path = Path("table.csv")
    table = [["chip", "state"], *rows]
    with instead_of_files(HeldTexts({real_path(str(path)): csv_text(table)})):
        notes = Notebook()
        found = read_rows(str(path), notes)
    assert not len(notes)
    width = max(map(len, table))
    kept = [[*row, *[""] * (width - len(row))] for row in table if any(c.strip() for c in row)]
    assert [[one.text for one in row] for row in found] == kept
    for cell in (one for row in found for one in row):
        for offset, character in enumerate(cell.text):
            place = cell.part(offset, 1)
            if character != "\n":
                assert place.text[place.column - 1] == character


def test_a_chip_that_may_start_in_several_ways_is_an_error(tmp_path: Path) -> None:
    """A table has one initial state: nothing is dropped silently."""
    text = GAPS.replace("    discards: {", "    initial: [linked, dark]\n    discards: {")
    (tmp_path / "gaps.yaml").write_text(text, encoding="utf-8")
    device = read_device(str(tmp_path / "gaps.yaml"))
    with pytest.raises(InvalidInput, match="hub may start in several ways"):
        table_of(device, device.chips["hub"])
