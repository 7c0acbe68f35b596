"""Files of sorted rows: what is written is read again, looked up, and known to be whole."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from modecheck.engine.native.growing_arrays import Words
from modecheck.engine.store.checked_files import DamagedFileError
from modecheck.engine.store.packed_rows import distinct, pack, unflagged
from modecheck.engine.store.row_files import RowFile, split, write_rows
from modecheck.engine.store.row_kernels import BLOCK

Row = tuple[int, ...]


@st.composite
def tables(draw: st.DrawFn) -> tuple[int, list[Row], list[Row]]:
    """Rows of one to three words of 63 bits, often near each other, and others to look for."""
    width = draw(st.integers(1, 3))
    word = st.one_of(st.integers(0, 300), st.integers(0, (1 << 63) - 1))
    rows = st.lists(st.tuples(*[word] * width), max_size=40)
    found = draw(rows)
    more = draw(st.sampled_from([0, BLOCK - 1, BLOCK, 2 * BLOCK + 1]))
    found += [(*[7] * (width - 1), 3 * number) for number in range(more)]
    return width, found, draw(rows) + found[::3]


def flat(rows: list[Row]) -> Words:
    return np.array([word for row in rows for word in row], np.uint64)


def listed(rows: Words, width: int) -> list[Row]:
    return [tuple(row) for row in rows.reshape(-1, width).tolist()]


@given(tables())
def test_rows_are_read_as_they_were_written(drawn: tuple[int, list[Row], list[Row]]) -> None:
    """In all sections; a set of tuples is the oracle of sorting, looking up, merging, splitting."""
    width, rows, wanted = drawn
    known, asked = sorted(set(rows)), sorted(set(wanted))
    sections = [distinct(flat(rows), width), distinct(flat(wanted), width), flat([])]
    assert [listed(section, width) for section in sections] == [known, asked, []]
    with TemporaryDirectory() as folder:
        write_rows(Path(folder) / "rows", width, sections)
        file = RowFile(Path(folder) / "rows")
    assert (file.width, file.sections) == (width, 3)
    assert [listed(file.rows(number), width) for number in range(3)] == [known, asked, []]
    parts = [row for part in file.parts(0, BLOCK) for row in listed(part, width)]
    assert parts == known
    flags = np.zeros(len(asked), np.uint8)
    file.flag(sections[1], flags)
    assert flags.tolist() == [row in set(known) for row in asked]
    others = flat(sorted(set(asked) - set(known)))
    both = file.section(0).merged(pack(others, width))
    assert listed(both.rows(), width) == sorted({*known, *asked})
    assert listed(unflagged(sections[1], width, flags), width) == listed(others, width)
    homes = np.array([row[0] % 5 for row in known], np.uint8)
    by_home = split(sections[0], width, homes, 5)
    assert [listed(part, width) for part in by_home] == [
        [row for row in known if row[0] % 5 == home] for home in range(5)
    ]


def test_neighbours_take_few_bytes(tmp_path: Path) -> None:
    """A row that follows the one before takes a byte; the tables of blocks come to a third more."""
    size = write_rows(tmp_path / "rows", 1, [np.arange(100_000, dtype=np.uint64)])
    assert 100_000 <= size < 104_000


@pytest.mark.parametrize("damage", ["cut", "flipped", "empty", "gone", "other"])
def test_a_damaged_file_is_noticed(damage: str, tmp_path: Path) -> None:
    """Whatever part of it is damaged."""
    path = tmp_path / "rows"
    write_rows(path, 1, [np.arange(2_000, dtype=np.uint64)])
    data = path.read_bytes()
    for place in (0, 9, 50, len(data) // 2, len(data) - 1):
        flipped = bytearray(data)
        flipped[place] ^= 4
        changed = {"cut": data[:place], "flipped": bytes(flipped), "empty": b"", "other": b"x" * 99}
        if damage == "gone":
            path.unlink(missing_ok=True)
        else:
            path.write_bytes(changed[damage])
        with pytest.raises(DamagedFileError):
            RowFile(path)
