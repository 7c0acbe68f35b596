"""The cache of check: the same output, said to be cached, and off with `--no-cache`."""

from __future__ import annotations

from pathlib import Path

from tests.cli.running import MODELS, Run, run

LARGE = "published/philosophers_8.yaml"


def checked(folder: Path, *arguments: str) -> Run:
    """Check a device of 1,154 states with a cache of our own."""
    env = {"MODECHECK_CACHE": str(folder)}
    return run("check", LARGE, "--engine", "plain", *arguments, folder=MODELS, env=env)


def test_an_unchanged_model_is_not_explored_and_that_is_said(tmp_path: Path) -> None:
    """Exit code, text and files are the same; standard error tells of the cache."""
    files = [tmp_path / name for name in ("1.json", "2.json", "1.xml", "2.xml")]
    first = checked(tmp_path, "--json", str(files[0]), "--junit", str(files[2]))
    second = checked(tmp_path, "--json", str(files[1]), "--junit", str(files[3]))
    assert (first.code, first.err) == (1, "")
    assert (second.code, second.out) == (first.code, first.out)
    assert second.err.startswith("cached: ")
    assert files[0].read_bytes() == files[1].read_bytes()
    assert files[2].read_bytes() == files[3].read_bytes()


def test_no_cache_neither_reads_nor_keeps(tmp_path: Path) -> None:
    """Whoever doubts the cache can look for himself."""
    first = checked(tmp_path, "--no-cache")
    assert list(tmp_path.iterdir()) == []
    checked(tmp_path)
    assert checked(tmp_path, "--no-cache") == first
    assert checked(tmp_path).err.startswith("cached: ")
