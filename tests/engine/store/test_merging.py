"""What is new in a partition, in however little memory, and its runs of known states."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from modecheck.engine.store.merging import FEWEST_MERGED, Gathered, new_states, packed_at, with_run
from modecheck.engine.store.packed_rows import distinct, pack
from modecheck.engine.store.row_files import write_levels, write_rows
from modecheck.engine.store.row_kernels import BLOCK
from modecheck.engine.store.tasks import opened
from tests.engine.store.test_row_files import Row, flat, listed, tables


@given(tables(), st.sampled_from([1, BLOCK, 10_000]))
def test_new_states_are_in_no_run(drawn: tuple[int, list[Row], list[Row]], most: int) -> None:
    """Whether all parts are unpacked at once or some blocks after the other."""
    width, rows, known = drawn
    parts = [pack(distinct(flat(some), width), width) for some in (rows, rows[::2], rows[1:], [])]
    runs = [pack(distinct(flat(some), width), width) for some in (known[::2], known[1::2])]
    new = new_states(width, parts, runs, most)
    assert listed(new.rows(), width) == sorted(set(rows) - set(known))


@given(tables(), st.integers(1, 5))
def test_levels_are_read_as_they_were_written(
    drawn: tuple[int, list[Row], list[Row]], step: int
) -> None:
    """Each sorted for itself, some of them at a time."""
    width, rows, _ = drawn
    rows = sorted(set(rows), key=hash)
    ends = np.array([*range(step, len(rows), step), len(rows)], np.int64)
    wanted = [sorted(rows[a:b]) for a, b in pairwise([0, *ends.tolist()])]
    with TemporaryDirectory() as folder:
        write_levels(Path(folder) / "span", width, flat(rows), ends)
        file = packed_at(folder, "span:0")
        assert listed(file.rows(), width) == wanted[0]
        found = opened(f"{folder}/span").levels(len(wanted) // 2, len(wanted))
    assert listed(found, width) == [row for level in wanted[len(wanted) // 2 :] for row in level]


@given(st.lists(st.integers(1, 3 * BLOCK), min_size=1, max_size=8))
def test_runs_are_several_times_as_large_as_the_next(sizes: list[int]) -> None:
    """And have all rows that they had before, unless they are bounded."""
    begins = np.cumsum([0, *sizes]).tolist()
    with TemporaryDirectory() as folder:
        (Path(folder) / "runs").mkdir()
        places: tuple[str, ...] = ()
        for number, (begin, end) in enumerate(pairwise(begins)):
            rows = np.arange(begin, end, dtype=np.uint64) * np.uint64(7919) % np.uint64(100_003)
            write_rows(Path(folder) / f"states{number}", 1, [distinct(rows, 1)])
            bounded = with_run(folder, [*places, f"states{number}:0"], f"b{number}", 0)
            assert len(bounded) == len(places) + 1
            places = with_run(folder, [*places, f"states{number}:0"], f"{number}", 1 << 30)
        packed = [packed_at(folder, place) for place in places]
        for one, other in pairwise(packed):
            assert one.count >= FEWEST_MERGED * other.count
        gathered = Gathered()
        for one in packed:
            gathered.add(one)
        found = gathered.all(1).rows().tolist()
    assert found == sorted(number * 7919 % 100_003 for number in range(begins[-1]))
