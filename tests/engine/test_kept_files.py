"""The folder of what is kept: made for its owner alone, and not believed where others can write."""

from __future__ import annotations

import hashlib
import os
import stat
import sys
from pathlib import Path

import pytest

from modecheck.engine.contract import kept_files
from modecheck.engine.contract.forked_task import ForkedTask
from modecheck.engine.contract.kept_files import keep, made, recall
from modecheck.engine.language import object_cache

pytestmark = pytest.mark.skipif(
    not kept_files.OWNERS_ARE_KNOWN, reason="the system does not say whose a file is"
)
RAW = b"what was made"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of our own, of which nothing has been said yet."""
    monkeypatch.setenv("MODECHECK_CACHE", str(tmp_path / "above" / "cache"))
    monkeypatch.delenv("MODECHECK_KERNELS", raising=False)
    monkeypatch.setattr(kept_files, "_told", set())
    return tmp_path / "above" / "cache"


@pytest.fixture
def entry(folder: Path) -> Path:
    """Something that is kept."""
    path = folder / "kernels" / "key.object"
    keep(path, RAW, most=9)
    return path


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_folders_and_files_are_made_for_their_owner_alone(entry: Path, folder: Path) -> None:
    """Whatever the process would else give to others."""
    assert [mode(one) for one in (folder.parent, folder, entry.parent)] == [0o700] * 3
    assert mode(entry) == 0o600
    assert os.listdir(entry.parent) == ["key.object"]


@pytest.mark.parametrize("bits", [0o770, 0o707, 0o722])
@pytest.mark.parametrize("which", ["cache", "kernels"])
def test_a_folder_that_others_may_write_is_not_read(
    which: str, bits: int, entry: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """That is told once, with what to do, and nothing is kept there either."""
    assert recall(entry) == RAW
    open_ = folder if which == "cache" else entry.parent
    open_.chmod(bits)
    assert [recall(entry), recall(entry)] == [None, None]
    keep(entry.with_name("other.object"), RAW, most=9)
    assert not made(entry.parent)
    assert not entry.with_name("other.object").exists()
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == (
        f"nothing is read from {open_} in the cache: others may write to it; "
        "remove it, and it is made anew for you alone\n"
    )


@pytest.mark.parametrize("bits", [0o660, 0o602])
def test_a_file_that_others_may_write_is_not_read(
    bits: int, entry: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told once."""
    entry.chmod(bits)
    assert [recall(entry), recall(entry)] == [None, None]
    assert capsys.readouterr().err.count("others may write to it") == 1


@pytest.mark.parametrize("which", ["file", "kernels", "cache"])
def test_what_belongs_to_somebody_else_is_not_read(
    which: str,
    entry: Path,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Told once. Only an administrator can give files away, so here we are somebody else."""
    theirs = {"file": entry, "kernels": entry.parent, "cache": folder}[which]
    if os.geteuid() == 0:
        os.chown(theirs, 12_345, -1)
    else:
        monkeypatch.setattr(os, "geteuid", lambda: theirs.stat().st_uid + 1)
    assert [recall(entry), recall(entry)] == [None, None]
    assert capsys.readouterr().err.count("it belongs to somebody else") == 1


def test_neither_a_link_nor_a_pipe_is_read(entry: Path, tmp_path: Path) -> None:
    """A link may lead anywhere, and a pipe would be waited for."""
    forked = tmp_path / "elsewhere"
    entry.rename(forked)
    entry.symlink_to(forked)
    assert recall(entry) is None
    entry.unlink()
    if sys.platform != "win32":
        os.mkfifo(entry, 0o600)
    assert recall(entry) is None


def test_planted_machine_code_is_not_linked(folder: Path) -> None:
    """An object under the right name and with the right digest, where others may write."""
    object_cache.store("key", b"code", {"name": "f"})
    assert object_cache.load("key") == (b"code", {"name": "f"})
    folder.chmod(0o777)
    raw = (2).to_bytes(8, "little") + b"{}" + b"planted"
    (folder / "key.object").write_bytes(hashlib.sha256(raw).digest() + raw)
    assert object_cache.load("key") is None


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process cannot be copied here")
def test_a_copy_of_the_process_does_not_tell_it_again(
    entry: Path, folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """What is said is said before the copy is made."""
    folder.chmod(0o777)
    begun = ForkedTask(lambda: recall(entry) is None)
    assert recall(entry) is None
    assert begun.result() is True
    assert capfd.readouterr().err.count("others may write to it") == 1
