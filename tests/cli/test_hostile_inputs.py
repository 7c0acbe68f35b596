"""Inputs that nobody writes by error: huge, deep, exploding, binary, or no file at all.

Times were measured while writing (seconds, a shared core): 0.2 to 0.6 for nearly every case, 1.7
for the largest. They are not asserted; a run that hangs ends after `PATIENCE`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.running import MODELS, PATIENCE, Run, check, environment, run

DEVICE = "device: d\nchips: {hub: {states: [s]}}\n"
LAUGHS = "a0: &a0 [ha, ha, ha, ha, ha, ha, ha, ha, ha]\n" + "".join(
    f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 12)
)


def condition(text: str) -> str:
    """A device with one rule, which has this condition."""
    return f"device: d\nchips: {{hub: {{states: [s], rules: [{{if: {text}, to: s}}]}}}}\n"


def refused(result: Run) -> str:
    """What was told about an input that was refused."""
    assert result.code == 2, result.err
    assert result.out == ""
    assert "Traceback" not in result.err
    return result.err


@pytest.mark.parametrize(
    ("text", "place", "told"),
    [
        ("device: " + "[" * 10_000 + "]" * 10_000, "1:", "brackets are nested too deeply"),
        ("device: " + "{a: " * 10_000 + "}" * 10_000, "1:", "brackets are nested too deeply"),
        ("".join(f"{' ' * n}a:\n" for n in range(2000)), "61:61", "brackets are nested too deeply"),
        ("device: " + "- " * 10_000, "1:", "not valid YAML"),
        (condition("(" * 900 + "ready" + ")" * 900), "2:81", "nested too deeply"),
        (condition("(" * 10_000 + "ready" + ")" * 10_000), "2:41", "the expression is too long"),
        (condition("9" * 999 + " == 1"), "2:41", "the number is too large"),
        (f"device: d\nchips: {{hub: {{file: {'x' * 300}}}}}\n", "2:21", "cannot be read"),
        ("device: d\nchips:\n\thub: {states: [s]}\n", "3:1", "the line is indented with a tab"),
        (LAUGHS, "6:30", "the file expands to too many values"),
        (DEVICE + f"big: {'9' * 3_000_000}\n", "3:1", "unknown key 'big'"),
        (
            f"device: d\nchips: {'9' * 3_000_000}\n",
            "2:8",
            "'999999999999999999999999999999999999999…'",
        ),
        (
            DEVICE + "y" * 1000 + ": 1\n",
            "3:1",
            "unknown key 'yyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyyy…'",
        ),
        (DEVICE + f"? {'y' * 2_000_000}\n: 1\n", "3:3", "unknown key 'yyyyyyy"),
        (DEVICE + f"# {'x' * 3_000_000}\nzebra: 1\n", "4:1", "unknown key 'zebra'"),
        (
            DEVICE + f"x: {{{', '.join(f'k{n}: 1' for n in range(100_000))}}}\n",
            "3:1",
            "unknown key 'x'",
        ),
        (bytes(range(256)) * 100, "2:118", "this is not UTF-8 text"),
        (Path(sys.executable).read_bytes()[:100_000], "1:", "this is not UTF-8 text"),
        ("device: gerät\n".encode("latin-1"), "1:12", "this is not UTF-8 text"),
        (DEVICE.encode("utf-16"), "1:1", "this is not UTF-8 text"),
        (DEVICE.encode("utf-32"), "1:1", "this is not UTF-8 text"),
        (b"\0" * 1000, "1:1", "a control character (0x00)"),
    ],
    ids=lambda value: str(value)[:24] if isinstance(value, str) else "bytes",
)
def test_a_hostile_text_is_refused(
    text: str | bytes, place: str, told: str, tmp_path: Path
) -> None:
    """At a place, in a few words, whatever its size."""
    err = refused(check(text, tmp_path))
    assert err.startswith(f"device.yaml:{place}")
    assert told in err
    assert max(map(len, err.splitlines())) < 300
    assert len(err) < 2000


def test_a_hundred_megabytes_are_not_read(tmp_path: Path) -> None:
    """A file of one integer of a hundred million digits, and a sparse one of a terabyte."""
    with (tmp_path / "large.yaml").open("wb") as file:
        for _ in range(100):
            file.write(b"9" * 1_000_000)
    with (tmp_path / "sparse.yaml").open("wb") as file:
        file.truncate(2**40)
    large = refused(run("check", "large.yaml", folder=tmp_path))
    assert large.startswith("'large.yaml' is too large: 100,000,000 bytes")
    assert "at most 4 MiB" in large
    assert "too large" in refused(run("check", "sparse.yaml", folder=tmp_path))


@pytest.mark.thorough
def test_very_many_errors_are_cut(tmp_path: Path) -> None:
    """Some hundred thousand unknown names, each of them looked up among as many, end soon."""
    states = ", ".join(f"s{number}" for number in range(20_000))
    rules = ", ".join(f"{{to: t{number}}}" for number in range(20_000))
    text = f"device: d\nchips: {{hub: {{states: [{states}], rules: [{rules}]}}}}\n"
    err = refused(check(text, tmp_path))
    assert err.count("unknown state") == 200
    assert "more than 200 errors: the others are not shown" in err


def test_one_error_repeated_by_aliases_is_told_once(tmp_path: Path) -> None:
    """Ten thousand rules that are the same node have the same errors."""
    keys = ", ".join(f"k{number}: 1" for number in range(15))
    text = f"device: d\nchips: {{hub: {{states: [s], rules: [&r {{{keys}}}{', *r' * 10_000}]}}}}\n"
    assert refused(check(text, tmp_path)).count("unknown key") == 15


def make_folder(path: Path) -> None:
    path.mkdir()


def make_loop(path: Path) -> None:
    path.symlink_to(path)


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (make_folder, "'odd.yaml' is a folder"),
        (os.mkfifo, "'odd.yaml' is not a regular file"),
        (make_loop, "'odd.yaml' cannot be read"),
        (lambda path: path.symlink_to("/dev/zero"), "'odd.yaml' is not a regular file"),
        (lambda path: path.symlink_to("nowhere"), "there is no file 'odd.yaml'"),
    ],
    ids=["folder", "pipe", "loop", "device", "dangling"],
)
def test_what_is_no_file_is_not_opened(
    make: Callable[[Path], None], told: str, tmp_path: Path
) -> None:
    """A pipe without a writer, or an endless device, would be read for ever."""
    make(tmp_path / "odd.yaml")
    assert told in refused(run("check", "odd.yaml", folder=tmp_path))
    device = "device: d\nchips: {hub: {file: odd.yaml}}\n"
    err = refused(check(device, tmp_path))
    assert err.startswith(f"device.yaml:2:21: {told}")


@pytest.mark.parametrize("name", ["", "nowhere/device.yaml", "a" * 5000 + ".yaml", "device.yaml/x"])
def test_names_that_are_no_file_are_told(name: str, tmp_path: Path) -> None:
    """A missing folder, an endless name, a file taken for a folder."""
    (tmp_path / "device.yaml").write_text(DEVICE, encoding="utf-8")
    assert refused(run("check", name, folder=tmp_path))


def test_a_name_that_is_no_text_is_told(tmp_path: Path) -> None:
    """File names are bytes; one that is not UTF-8 is shown as well as it can be."""
    name = os.fsdecode(b"ger\xe4t.yaml")
    assert "there is no file" in refused(run("check", name, folder=tmp_path))
    (tmp_path / name).write_text("device: d\n", encoding="utf-8")
    assert "lacks 'chips'" in refused(run("check", name, folder=tmp_path))


WITHOUT_RIGHTS = """\
import os, sys
from modecheck.cli.main import main
sys.argv = ["modecheck", "check", "nowhere.yaml"]
try:
    main()
except SystemExit:
    sys.argv[2] = "device.yaml"
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
main()
"""
"""The first run imports everything: without rights Python itself might not be readable any more."""


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="needs users and permissions")
def test_a_file_that_may_not_be_read_is_told(tmp_path: Path) -> None:
    """Permission is missing; root may read everything, so the run gives up its rights first."""
    (tmp_path / "device.yaml").write_text(DEVICE, encoding="utf-8")
    (tmp_path / "device.yaml").chmod(0o000)
    tmp_path.chmod(0o755)
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_RIGHTS],
        cwd=tmp_path, env=environment(), capture_output=True, timeout=PATIENCE, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, b""), done.stderr.decode()
    assert b"no permission to read 'device.yaml'" in done.stderr
    assert b"a readable file" in done.stderr


def test_a_bundled_model_still_passes() -> None:
    """The harness itself can tell a good input from a bad one."""
    assert run("check", str(MODELS / "starter" / "device.yaml")).code == 0
