"""What tests run within their own process, a user runs in one of its own: both tell the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.running import MODELS, run, run_alone

STARTER = str(MODELS / "starter" / "device.yaml")
TWIN = str(MODELS / "faulty" / "volatile_bond.yaml")
TIMED = str(MODELS / "small" / "session.yaml")
PEDAL = str(MODELS / "chances" / "pedal.yaml")


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("check", TWIN, "--no-cache"), 1),
        (("check", STARTER, "--no-cache", "--max-states", "3"), 3),
        (("check", "nowhere.yaml"), 2),
        (("compare", STARTER, TWIN, "--no-cache"), 1),
        (("chances", PEDAL), 0),
        (("draw", STARTER, "--to", "drawn"), 0),
        (("explain", "deadlock"), 0),
        (("gaps", STARTER), 0),
        (("guide",), 0),
        (("new", "clicker", "--yes"), 0),
        (("page", STARTER, "--to", "page.html"), 0),
        (("roam", TWIN, "--runs", "64", "--seed", "3"), 1),
        (("schema", "device"), 0),
        (("step", STARTER), 0),
        (("times", TIMED), 0),
        (("tours", STARTER), 0),
        (("chek",), 2),
        (("--help",), 0),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_a_process_tells_what_a_run_within_this_one_tells(
    words: tuple[str, ...], code: int, tmp_path: Path
) -> None:
    """The same exit code, the same text on both streams and the same files."""
    folders = [tmp_path / name for name in ("within", "alone")]
    for folder in folders:
        folder.mkdir()
    within, alone = run(*words, folder=folders[0]), run_alone(*words, folder=folders[1])
    assert within.code == code, within
    for text in ("out", "err"):
        told = getattr(alone, text).replace("python -m modecheck", "modecheck")
        assert getattr(within, text) == told
    written = [
        {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*.*")}
        for folder in folders
    ]
    assert written[0] == written[1]
