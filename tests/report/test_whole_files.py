"""Files that are written completely or not at all, and what no file may replace."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from modecheck.model.errors import InvalidInput
from modecheck.report.whole_files import need_writable, write_whole


def test_a_file_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    """The old text is gone, and the folder holds the file alone."""
    file = tmp_path / "result.json"
    file.write_text("old and longer")
    write_whole(str(file), "new")
    assert file.read_text() == "new"
    assert os.listdir(tmp_path) == ["result.json"]


def test_a_link_stays_a_link_and_what_it_leads_to_is_replaced(tmp_path: Path) -> None:
    """A folder of links to where a job collects its files keeps them."""
    (tmp_path / "kept").mkdir()
    link = tmp_path / "result.json"
    link.symlink_to(tmp_path / "kept" / "result.json")
    write_whole(str(link), "new")
    assert link.is_symlink()
    assert (tmp_path / "kept" / "result.json").read_text() == "new"


def test_a_link_into_a_missing_folder_is_refused_before_any_work(tmp_path: Path) -> None:
    """The folder that is missing is that of the file, not that of the link."""
    link = tmp_path / "result.json"
    link.symlink_to(tmp_path / "missing" / "result.json")
    with pytest.raises(InvalidInput, match="there is no folder"):
        need_writable(str(link))


def test_a_named_pipe_is_written_to_and_stays_a_pipe(tmp_path: Path) -> None:
    """Whoever reads at its other end receives the text; a device such as /dev/null stays, too."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_whole(str(pipe), "through the pipe")
        assert os.read(reader, 100) == b"through the pipe"
    finally:
        os.close(reader)
    assert stat.S_ISFIFO(os.stat(pipe).st_mode)
    assert os.listdir(tmp_path) == ["pipe"]
