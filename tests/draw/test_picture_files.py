"""Writing pictures: whole files, the same bytes, and plain words where one cannot be had."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from modecheck.draw import Drawing, NoLayout, layout, render_svg, write_drawings


def test_each_picture_is_written_in_both_forms(
    stage_drawings: dict[str, Drawing], tmp_path: Path
) -> None:
    """DOT and SVG stand beside each other, named after the picture."""
    chosen = [stage_drawings["device"], stage_drawings["chip-front_tile"]]
    written = write_drawings(chosen, tmp_path / "new" / "folder")
    assert [path.name for path in written] == [
        "device.dot",
        "device.svg",
        "chip-front_tile.dot",
        "chip-front_tile.svg",
    ]
    assert sorted(written) == sorted((tmp_path / "new" / "folder").iterdir())
    assert written[0].read_text(encoding="utf-8") == chosen[0].dot
    assert written[1].read_text(encoding="utf-8") == render_svg(chosen[0])


def test_writing_again_gives_the_same_bytes(
    stage_drawings: dict[str, Drawing], tmp_path: Path
) -> None:
    """A second run changes no file."""
    before = [path.read_bytes() for path in write_drawings(stage_drawings.values(), tmp_path)]
    after = [path.read_bytes() for path in write_drawings(stage_drawings.values(), tmp_path)]
    assert before == after


def test_too_large_a_picture_is_refused_with_its_size(
    stage_drawings: dict[str, Drawing], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The message names the picture, its size and the limit, and says what remains."""
    monkeypatch.setattr(layout, "MOST_BOXES", 20)
    with pytest.raises(NoLayout) as caught:
        render_svg(stage_drawings["chip-hub"])
    message = str(caught.value)
    assert "'chip-hub'" in message
    assert "the limit is 20" in message
    assert "DOT text is complete" in message


@pytest.mark.skipif(sys.platform == "win32", reason="a shell script stands in for the program")
def test_a_layout_that_takes_too_long_is_stopped(
    stage_drawings: dict[str, Drawing], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody waits for ever: the program is stopped, and the message says after how long."""
    monkeypatch.setattr(layout, "_program", lambda _: _script(tmp_path, "exec sleep 30"))
    monkeypatch.setattr(layout, "TIME_LIMIT", 0.2)
    with pytest.raises(NoLayout, match="took longer than"):
        render_svg(stage_drawings["device"])


@pytest.mark.skipif(sys.platform == "win32", reason="a shell script stands in for the program")
def test_a_layout_that_fails_says_why(
    stage_drawings: dict[str, Drawing], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last thing that the program said is passed on."""
    script = _script(tmp_path, "echo 'no memory left' >&2; exit 3")
    monkeypatch.setattr(layout, "_program", lambda _: script)
    with pytest.raises(NoLayout, match="no memory left"):
        render_svg(stage_drawings["device"])


def test_a_missing_program_is_named_with_its_remedy(
    stage_drawings: dict[str, Drawing], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where neither the package nor the system's program is there, the message tells both."""
    monkeypatch.setattr(layout, "_installed_program", lambda: None)
    monkeypatch.setattr(layout, "_system_program", lambda: None)
    assert layout.stand_in() == ""
    with pytest.raises(NoLayout, match="pip install"):
        render_svg(stage_drawings["device"])


@pytest.mark.skipif(sys.platform == "win32", reason="a shell script stands in for the program")
def test_the_systems_program_stands_in_and_says_so(
    stage_drawings: dict[str, Drawing], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Found on the search path, and used only where the package is missing."""
    drawing = stage_drawings["chip-front_tile"]
    expected, package = render_svg(drawing), layout._installed_program()
    called = tmp_path / "called"
    script = _script(tmp_path, f'echo "$@" >> {called}; exec {package} "$@"')
    script.rename(tmp_path / "dot")
    monkeypatch.setenv("PATH", str(tmp_path), prepend=os.pathsep)
    assert layout.stand_in() == ""
    layout._answer.cache_clear()
    assert render_svg(drawing) == expected
    assert not called.exists()
    monkeypatch.setattr(layout, "_installed_program", lambda: None)
    layout._answer.cache_clear()
    assert render_svg(drawing) == expected
    assert called.read_text(encoding="utf-8") == "-Kdot -Tjson0\n"
    assert str(tmp_path / "dot") in layout.stand_in()
    assert "may differ" in layout.stand_in()


def test_without_a_layout_the_text_is_written_and_no_stale_picture_stays(
    stage_drawings: dict[str, Drawing], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An SVG of an earlier model would lie; the reason is told, other pictures are written."""
    (tmp_path / "chip-hub.svg").write_text("of an earlier model", encoding="utf-8")
    monkeypatch.setattr(layout, "MOST_BOXES", 40)
    told: list[str] = []
    chosen = [stage_drawings["chip-hub"], stage_drawings["chip-front_tile"]]
    written = write_drawings(chosen, tmp_path, tell=told.append)
    assert [path.name for path in written] == [
        "chip-hub.dot",
        "chip-front_tile.dot",
        "chip-front_tile.svg",
    ]
    assert not (tmp_path / "chip-hub.svg").exists()
    assert len(told) == 1
    assert "the limit is 40" in told[0]


def test_a_failed_write_leaves_the_old_file(
    stage_drawings: dict[str, Drawing], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When the disk is full half-way, the former picture is still whole and no part stays."""
    drawing = stage_drawings["chip-front_tile"]
    (tmp_path / "chip-front_tile.dot").write_text("before", encoding="utf-8")

    def full(path: Path, data: bytes) -> int:
        with path.open("wb") as file:
            file.write(data[:10])
        raise OSError("no space left")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OSError, match="no space left"):
        write_drawings([drawing], tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["chip-front_tile.dot"]
    assert (tmp_path / "chip-front_tile.dot").read_text(encoding="utf-8") == "before"


def test_a_file_is_replaced_and_not_written_over(
    stage_drawings: dict[str, Drawing], tmp_path: Path
) -> None:
    """Who has the former picture open keeps reading the former picture, whole."""
    write_drawings([stage_drawings["chip-front_tile"]], tmp_path)
    former = tmp_path / "chip-front_tile.svg"
    former.write_text("former", encoding="utf-8")
    with former.open(encoding="utf-8") as reader:
        write_drawings([stage_drawings["chip-front_tile"]], tmp_path)
        assert reader.read() == "former"


def test_drawing_costs_nothing_before_it_is_asked_for() -> None:
    """Importing the package loads no drawing library and starts no program."""
    script = "import sys, modecheck.draw; print([n for n in sys.modules if 'graphviz' in n])"
    shown = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert shown.stdout.strip() == "[]"


def _script(folder: Path, command: str) -> Path:
    path = folder / "layout"
    path.write_text(f"#!/bin/sh\n{command}\n", encoding="utf-8")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path
