"""What an overlay adds, where a person sees it; and a slip of the pen that must not pass."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import MODELS, Run, run

STARTER = MODELS / "starter" / "device.yaml"
BLINKS = "chips: {pedal: {rules: {blink: {in: by_air, after: 1 s, to: by_air}}}}\n"
NOTE = "note: overlay adds rule 'blink' to chip pedal\n"


def overlay(folder: Path, text: str = BLINKS) -> str:
    """A device based on the starter."""
    path = folder / "over.yaml"
    path.write_text(f"device: blinks\nbased_on: {STARTER}\n{text}", encoding="utf-8")
    return path.name


@pytest.mark.parametrize(
    "command",
    [
        ("check",),
        ("compare", str(STARTER)),
        ("draw", "--to", "out"),
        ("draw", str(STARTER), "--to", "out"),
        ("gaps",),
        ("page", "--to", "out.html"),
        ("roam", "--runs", "2"),
        ("tours",),
    ],
)
def test_every_command_tells_what_an_overlay_adds(command: tuple[str, ...], tmp_path: Path) -> None:
    """Once, on standard error: the output stays as it is."""
    result = run(*command, overlay(tmp_path), folder=tmp_path)
    assert result.err == f"over.yaml:3:25: {NOTE}"
    assert "note:" not in result.out


def test_quiet_says_nothing(tmp_path: Path) -> None:
    """Where nothing is found."""
    quiet = "actors: {player: {rules: {wave: {signal: [step]}}}}\n"
    assert run("check", overlay(tmp_path, quiet), "--quiet", folder=tmp_path) == Run(0, "", "")


def test_the_json_holds_notes(tmp_path: Path) -> None:
    """With their places."""
    run("check", overlay(tmp_path), "--json", "out.json", folder=tmp_path)
    (note,) = json.loads((tmp_path / "out.json").read_text("utf-8"))["notes"]
    text = "overlay adds rule 'blink' to chip pedal"
    assert note == {"file": "over.yaml", "line": 3, "column": 25, "text": text}


def test_many_additions_are_told_in_brief_and_in_the_json_in_full(tmp_path: Path) -> None:
    """In 80 columns, with all that may be slips."""
    states = ", ".join(f"{name}: {{}}" for name in ("naps", "dims", "hums", "by_airs", "warms"))
    text = f"chips: {{pedal: {{states: {{{states}}}, variables: {{x: bool}}}}}}\n"
    result = run("check", overlay(tmp_path, text), "--json", "out.json", folder=tmp_path)
    assert result.err == (
        "over.yaml:3:26: note: overlay adds to chip pedal: states 'naps', 'dims', 'hums',\n"
        "    'by_airs' (close to 'by_air'); and 2 more\n"
    )
    (note,) = json.loads((tmp_path / "out.json").read_text("utf-8"))["notes"]
    assert note["text"] == (
        "overlay adds to chip pedal: states 'naps', 'dims', 'hums', 'by_airs' (close to 'by_air'), "
        "'warms'; variable 'x'"
    )


@pytest.mark.parametrize("laid", [False, True])
def test_a_rule_under_the_name_of_another_chip_s_rule_is_no_clean_verdict(
    tmp_path: Path, *, laid: bool
) -> None:
    """The lesson's pedal saves its battery in its rule `pull`; the receiver calls its own `pulled`.

    Written under that name, the change used to change nothing, and the deadlock was not found.
    """
    slip = "chips: {pedal: {rules: {pulled: {send: null}}}}\n"
    if laid:
        (tmp_path / "slip.yaml").write_text(slip, encoding="utf-8")
        result = run("check", str(STARTER), "--with", "slip.yaml", folder=tmp_path)
    else:
        result = run("check", overlay(tmp_path, slip), folder=tmp_path)
    assert (result.code, result.out) == (2, "")
    assert "overlay adds rule 'pulled' to chip pedal (close to 'pull')" in result.err
