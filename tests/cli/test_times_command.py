"""`modecheck times`: its table, its files, its exit codes."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from modecheck.checks.device_time_bounds import times_of
from modecheck.cli.times_command import command
from modecheck.engine.choice import Search
from modecheck.model.errors import InvalidInput
from modecheck.report.times_pictures import time_pictures
from tests.checks.test_device_time_bounds import CHAIN, POLLED
from tests.generation.devices import device_from


def run(folder: Path, *options: str, text: str = CHAIN) -> Result:
    path = folder / "device.yaml"
    path.write_text(text, encoding="utf-8")
    return CliRunner().invoke(command, [str(path), *options])


def test_a_table_of_eighty_columns(tmp_path: Path) -> None:
    """Each question with its best and worst time, and what decides the worst."""
    result = run(tmp_path, "--scenarios")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert all(len(line) <= 80 for line in lines if tmp_path.name not in line)
    head, row = (
        next(line for line in lines if line.startswith(word)) for word in ("responses", "  R1")
    )
    assert len(head) == len(row)
    assert [line.split() for line in lines if line.startswith("  wire to radio")] == [
        ["wire", "to", "radio", "16", "ms", "28", "ms"]
    ]
    assert "meets the limit of 28 ms" in result.output
    assert "hub.answer 10 ms to 20 ms (20 ms;" in result.output
    assert "its clock starts after step 1" in result.output


def test_what_takes_too_long_is_found(tmp_path: Path) -> None:
    """Exit code 1, as for a requirement that is broken."""
    text = CHAIN.replace("within: 28 ms", "within: 27 ms")
    assert run(tmp_path, text=text).exit_code == 1


def test_a_bound_makes_it_incomplete(tmp_path: Path) -> None:
    """Exit code 3, and one line counts what is not decided; the same for other bounds."""
    result = run(tmp_path, "--max-states", "20")
    assert result.exit_code == 3
    said = "incomplete: 3 of 3 times undecided, stopped by the bound of 20 states"
    assert said in result.output
    assert run(tmp_path, "--slack", "--explorations", "1").exit_code == 3


class _Clock:
    """Time that stands still for some looks at the clock, and then is up."""

    def __init__(self, looks: int) -> None:
        self.looks = looks

    def monotonic(self) -> float:
        self.looks -= 1
        return 0.0 if self.looks >= 0 else 9e9


def test_seconds_bound_the_whole_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All explorations and questions share them, slack, too: what was decided is told, one line
    counts the rest, and the exit code is 3. Here time is up at the third look: there were one when
    the command began and one before the first question.
    """
    monkeypatch.setattr("modecheck.engine.contract.space.time", _Clock(2))
    monkeypatch.setattr("modecheck.engine.contract.stopping.time", _Clock(100_000))
    result = run(tmp_path, "--max-seconds", "100", "--slack")
    assert result.exit_code == 3
    assert "incomplete: 2 of 3 times undecided, stopped by the bound of 100 seconds" in (
        " ".join(result.output.split())
    )
    assert "nothing to vary" not in result.output
    assert len(re.findall("wire to radio|radio to wire", result.output)) <= 1


def test_a_device_without_a_clock_has_no_times() -> None:
    """It is refused, with the place where a clock could stand."""
    with pytest.raises(InvalidInput, match="the device has no clock"):
        CliRunner().invoke(command, ["models/starter/device.yaml"], catch_exceptions=False)


def test_json_and_markdown_tell_the_same(tmp_path: Path) -> None:
    """Both scenarios of each time, and slack where it is asked for."""
    told, page = tmp_path / "told.json", tmp_path / "told.md"
    run(tmp_path, "--json", str(told), "--markdown", str(page), "--slack", "--explorations", "9")
    data = json.loads(told.read_text(encoding="utf-8"))
    (switch, *_), markdown = data["times"], page.read_text(encoding="utf-8")
    assert (switch["best"]["time"], switch["worst"]["time"]) == ("16 ms", "28 ms")
    scenario = switch["worst"]["scenario"]
    begin = switch["worst"]["clock_starts_after"]
    assert sum(step["lasts"] == "1 ms" for step in scenario[begin:]) == 28
    assert {one["requirement"] for one in data["slack"]} == {"R1"}
    assert "| 16 ms | 28 ms |" in markdown
    assert re.search(r"- \d+-\d+: \d+ ms pass", markdown)


def test_timing_diagrams_show_each_chip(tmp_path: Path) -> None:
    """One lane a chip, with its states in their order; the same bytes each time."""
    times = times_of(device_from(CHAIN), Search())
    files = dict(time_pictures(times))
    assert files == dict(time_pictures(times_of(device_from(CHAIN), Search())))
    root = ElementTree.fromstring(files["time-switch-wire-radio-worst.svg"])  # noqa: S314 - ours
    states = [
        (node.attrib["data-chip"], node.attrib["data-state"])
        for node in root.iter()
        if "data-state" in node.attrib
    ]
    assert [state for chip, state in states if chip == "tile"] == ["wired", "one", "two", "radio"]
    assert [state for chip, state in states if chip == "hub"] == ["idle", "busy", "idle"]
    words = "".join(root.itertext())
    assert "28 ms" in words
    assert "prefers-color-scheme:dark" in words
    result = run(tmp_path, "--to", str(tmp_path / "pictures"))
    written = {path.name for path in (tmp_path / "pictures").iterdir()}
    assert result.exit_code == 0
    assert written == set(files)


def test_conditions_in_a_diagram_do_not_overlap() -> None:
    """In each lane a state begins where the one before it ends, with room for its name."""
    for text in dict(time_pictures(times_of(device_from(CHAIN), Search()))).values():
        root = ElementTree.fromstring(text)  # noqa: S314 - ours
        last: dict[str, float] = {}
        for node in root.iter():
            if "data-state" not in node.attrib:
                continue
            path = next(child for child in node.iter() if "d" in child.attrib).attrib["d"]
            places = [float(pair.split()[0]) for pair in path.strip("MZ").split("L")]
            chip = node.attrib["data-chip"]
            assert min(places) == last.get(chip, min(places))
            last[chip] = max(places)
            width = float(
                next(n for n in node.iter() if n.tag.endswith("text")).attrib["textLength"]
            )
            assert width <= max(places) - min(places)


def test_polls_that_find_nothing_are_not_drawn() -> None:
    """They are counted instead; the one that takes something up is drawn."""
    files = dict(time_pictures(times_of(device_from(POLLED), Search())))
    drawn = files["time-response-R1-worst.svg"]
    root = ElementTree.fromstring(drawn)  # noqa: S314 - ours
    assert "without any change" in "".join(root.itertext())
    marks = [node.attrib["data-step"] for node in root.iter() if "data-step" in node.attrib]
    assert len(set(marks)) == 3  # pressed, settled, taken up
