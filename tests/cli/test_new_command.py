"""`modecheck new` writes a device that is clean whatever was answered, or nothing at all."""

from __future__ import annotations

import subprocess
import sys
from itertools import combinations, product
from pathlib import Path

import pytest

from modecheck.checks.verdict import check
from modecheck.model.devices import read_device
from modecheck.model.errors import InvalidInput
from modecheck.report.new_device import KNOWN_WAYS, MOST_PARTS, NewDevice, files_of
from modecheck.report.whole_folder import write_new_folder
from tests.cli.running import environment, on_terminal, run
from tests.gate import command_in
from tests.model.plain_data import data_in_file
from tests.model.schemas import complaints
from tests.sweeps import sweep

SOME_WAYS = [ways for size in (1, 2, 3) for ways in combinations(KNOWN_WAYS, size)]
FILES = {
    "device.yaml", "main.yaml", "part.yaml", "host.yaml", "test_device.py", "ci.yaml",
    "schema/device.json", "schema/chip.json",
}  # fmt: skip


def written(folder: Path) -> set[str]:
    """The files in a folder, by their paths inside it."""
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


TWO, THREE = ("button", "main"), ("left", "right", "hub")
ANSWERS = list(product(SOME_WAYS, (False, True), (TWO, THREE)))


@pytest.mark.thorough
@pytest.mark.parametrize(
    "answer", sweep(ANSWERS, lambda answer: answer[2] is TWO or answer is ANSWERS[-1]), ids=str
)
def test_every_answer_gives_a_clean_device(
    answer: tuple[tuple[str, ...], bool, tuple[str, ...]], tmp_path: Path
) -> None:
    """Three requirements that hold and are put to the test, every mode reached, no finding."""
    ways, paired, chips = answer
    files = files_of(NewDevice("clicker", chips, ways, paired, "user"))
    write_new_folder(str(tmp_path / "clicker"), files)
    device = read_device(str(tmp_path / "clicker" / "device.yaml"))
    verdict = check([device])
    assert verdict.complete
    assert [finding.id for finding in verdict.findings] == []
    assert [judged.verdict for judged in verdict.requirements] == ["holds"] * 3
    assert len(device.modes) == len(ways) + (ways == ("cable",))


def test_the_largest_device_is_read(tmp_path: Path) -> None:
    """Its states are too many for a first look, and that is all."""
    chips = tuple(f"button_{number}" for number in range(MOST_PARTS + 1))
    files = files_of(NewDevice("piano", chips, KNOWN_WAYS, True, "user"))
    write_new_folder(str(tmp_path / "piano"), files)
    assert len(read_device(str(tmp_path / "piano" / "device.yaml")).chips) == MOST_PARTS + 3


def test_with_yes_it_asks_nothing_and_all_is_clean(tmp_path: Path) -> None:
    """The device under check, and its test under pytest."""
    made = run("new", "clicker", "--yes", folder=tmp_path)
    assert (made.code, made.err) == (0, "")
    folder = tmp_path / "clicker"
    assert written(folder) == FILES
    checked = run("check", "device.yaml", folder=folder)
    assert checked.code == 0
    assert "clicker: nothing found" in checked.out
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    tested = subprocess.run(
        command, cwd=folder, env=environment(), capture_output=True, text=True, check=False
    )
    assert "2 passed" in tested.stdout, tested.stdout
    host = folder / "host.yaml"
    hears = host.read_text("utf-8").replace("_down: bool", "_down: {bool: true, start: true}")
    host.write_text(hears, encoding="utf-8")
    tested = subprocess.run(
        command, cwd=folder, env=environment(), capture_output=True, text=True, check=False
    )
    assert tested.returncode == 1, tested.stdout


def test_each_file_explains_itself_and_suits_an_editor(tmp_path: Path) -> None:
    """By a comment at its top; models name the schema that they follow, which lies beside them."""
    run("new", "clicker", "--yes", folder=tmp_path)
    for path in (tmp_path / "clicker").glob("*.*"):
        first, second, *_ = path.read_text(encoding="utf-8").splitlines()
        assert first.startswith(("#", '"""'))
        if path.name in ("ci.yaml", "test_device.py"):
            continue
        assert second.startswith("# ")
        kind = "device" if path.name == "device.yaml" else "chip"
        assert first == f"# yaml-language-server: $schema=schema/{kind}.json"
        beside = (path.parent / "schema" / f"{kind}.json").read_text(encoding="utf-8")
        assert beside == run("schema", kind).out
        assert complaints(kind, data_in_file(str(path))) == []


def test_the_job_checks_the_device(tmp_path: Path) -> None:
    """From the folder above, where a repository would have it."""
    run("new", "clicker", "--yes", folder=tmp_path)
    words = command_in((tmp_path / "clicker" / "ci.yaml").read_text(encoding="utf-8"))
    assert run(*words, folder=tmp_path).code == 0
    assert (tmp_path / "modecheck.xml").exists()


def test_options_answer_what_would_be_asked(tmp_path: Path) -> None:
    """All of them, so that a script needs no --yes."""
    options = ("--chips", "front, rear,hub", "--ways", "bluetooth,cable", "--no-pairing")
    made = run("new", "board", *options, "--person", "player", folder=tmp_path)
    assert made.code == 0, made.err
    device = read_device(str(tmp_path / "board" / "device.yaml"))
    assert set(device.chips) == {"front", "rear", "hub", "host", "player"}
    assert list(device.modes) == ["wired", "bluetooth"]
    assert device.pairings == {}


def test_on_a_terminal_it_asks(tmp_path: Path) -> None:
    """Each question once, again after an answer that it does not understand; Enter is the usual
    answer.
    """
    typed = "tile\ntile,hub\nradio,cabel\nradio\ny\n\n"
    code, shown = on_terminal("new", "board", typed=typed, folder=tmp_path)
    assert code == 0
    assert shown.count("Chips, the one that talks to the host last [button,main]:") == 2
    assert "did you mean 'cable'?" in shown
    device = read_device(str(tmp_path / "board" / "device.yaml"))
    assert set(device.chips) == {"tile", "hub", "host", "user"}
    assert list(device.pairings) == ["hub_and_host"]


def test_without_a_terminal_it_waits_for_nobody(tmp_path: Path) -> None:
    """The error says what to give."""
    made = run("new", "clicker", folder=tmp_path)
    assert made.code == 2
    assert "--yes" in made.err
    assert written(tmp_path) == set()


@pytest.mark.parametrize("there", ["folder", "file", "link"])
def test_nothing_is_overwritten(there: str, tmp_path: Path) -> None:
    """Not even an empty folder, or a link that leads nowhere."""
    target = tmp_path / "clicker"
    if there == "folder":
        target.mkdir()
    elif there == "file":
        target.write_text("mine", encoding="utf-8")
    else:
        target.symlink_to("nowhere")
    before = sorted(path.name for path in tmp_path.rglob("*"))
    made = run("new", "clicker", "--yes", folder=tmp_path)
    assert made.code == 2
    assert "nothing is ever overwritten" in made.err
    with pytest.raises(InvalidInput):
        write_new_folder(str(target), {"device.yaml": "theirs"})
    assert sorted(path.name for path in tmp_path.rglob("*")) == before


def test_nothing_is_written_by_half(tmp_path: Path) -> None:
    """If it fails on the way, or the result is judged to be wrong, nothing is left behind."""

    def refuse(_folder: str) -> None:
        raise InvalidInput([])

    for files, judge in (({"a": "b"}, refuse), ({"a": "b", "a/c": "d"}, len)):
        with pytest.raises(InvalidInput):
            write_new_folder(str(tmp_path / "clicker"), files, judge)
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("../clicker",), "'../clicker' cannot be a device"),
        (("3clicks",), "'3clicks' cannot be a device: expected a letter, then"),
        (("clicker", "--chips", "main"), "2 to 7 different chips"),
        (("clicker", "--chips", "main,Main"), "2 to 7 different chips"),
        (("clicker", "--chips", "host,main"), "'host' has another meaning"),
        (("clicker", "--chips", "a b,main"), "'a b' is not a name"),
        (("clicker", "--chips", "state,main"), "'state' has another meaning"),
        (("clicker", "--person", "button"), "'button' is a chip already"),
        (("clicker", "--ways", "radoi"), "unknown way 'radoi'; did you mean 'radio'?"),
        (("clicker", "--ways", "wifi_6_at_home"), "known are cable, radio, bluetooth"),
    ],
)
def test_a_wrong_answer_is_an_error(words: tuple[str, ...], told: str, tmp_path: Path) -> None:
    """And nothing is written."""
    made = run("new", *words, "--yes", folder=tmp_path)
    assert (made.code, made.out) == (2, "")
    assert told in made.err
    assert list(tmp_path.iterdir()) == []
