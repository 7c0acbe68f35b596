"""The unfriendly surroundings: each comes into a device by one line, and does what it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from modecheck.checks.explored import Verdict
from modecheck.checks.verdict import check
from modecheck.model.devices import read_device
from tests.models.bundled import MODELS

FOLDER = MODELS / "surroundings"
PAGE = (FOLDER / "README.md").read_text(encoding="utf-8")
EXAMPLE = str(re.findall(r"^```yaml\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)[0])
LINES = dict(re.findall(r"^\| `\w+: (\{file: \.\./surroundings/(\w+)\.yaml.*\})` \|", PAGE, re.M))
LINE_OF = {name: line for line, name in LINES.items()}
FILES = sorted(path.stem for path in FOLDER.glob("*.yaml"))
HOSTS = [name for name in FILES if name.startswith("host_")]
WHIMS = {
    "host_forgets": "forgets",
    "host_resets": "resets",
    "host_sleeps": "falls_asleep",
    "host_eager": "calls_again",
    "host_mute": "connects",
}


def verdict_on(text: str, folder: Path) -> Verdict:
    """The verdict on a device that lies beside the surroundings."""
    path = folder / "device.yaml"
    path.write_text(text.replace("../surroundings/", f"{FOLDER}/"), encoding="utf-8")
    verdict = check([read_device(str(path))])
    assert verdict.complete
    return verdict


def among(host: str, *changes: tuple[str, str]) -> str:
    """The hub of the page with one of the hosts, and changed."""
    text = EXAMPLE.replace(LINE_OF["host_forgets"], LINE_OF[host])
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text


def errors(verdict: Verdict) -> set[str]:
    return {finding.id for finding in verdict.findings if finding.severity == "error"}


def test_the_page_has_one_line_for_each_file() -> None:
    """And the name of a part is that of its file."""
    assert sorted(LINE_OF) == FILES
    for name in FILES:
        text = (FOLDER / f"{name}.yaml").read_text(encoding="utf-8")
        assert re.search(rf"^(chip|actor): {name}$", text, re.MULTILINE)


@pytest.mark.parametrize("host", HOSTS)
def test_a_careful_hub_stands_every_host(host: str, tmp_path: Path) -> None:
    """No error is found, although the host does what it is there for."""
    verdict = verdict_on(among(host), tmp_path)
    assert errors(verdict) == set()
    assert {finding.code for finding in verdict.findings} <= {"dead-rule"}
    taken = verdict.explored[0].exploration.observed.taken
    rules = verdict.explored[0].exploration.product.rules
    assert ("host", WHIMS[host]) in {(rules[n].chip, rules[n].title) for n in taken}


@pytest.mark.parametrize(
    ("host", "change", "found"),
    [
        # Only an old friend is let in, so one who has forgotten is not.
        (
            "host_forgets",
            ("        on: call\n        do:", "        on: call\n        if: value\n        do:"),
            "deadlock:host.calling",
        ),
        # Nobody looks whether the host is still there.
        ("host_resets", ("{in: online, after: 4 s, if: host.idle,", "{in: online, if: false,"), ""),
        # The subscription is not remembered.
        ("host_mute", ("call, if: value and heard,", "call, if: false,"), ""),
        # There is room for two calls, and for no more.
        (
            "host_eager",
            ("subscribe: event}, when_full: wait", "subscribe: event}"),
            "overflow:up.call",
        ),
        # Nobody says that there is room for a subscription in between the calls.
        ("host_eager", ("drop_old, fair: strong", "drop_old"), "livelock:host+hub"),
    ],
)
def test_a_careless_hub_falls(
    host: str, change: tuple[str, str], found: str, tmp_path: Path
) -> None:
    """Each host is the undoing of a hub that lacks what the careful one has."""
    wanted = found or "broken-requirement:plays_again"
    assert wanted in errors(verdict_on(among(host, change), tmp_path))


def test_a_sleeping_host_hears_nothing(tmp_path: Path) -> None:
    """What is sent to it then arrives, and is passed over."""
    asks = '\n  awake: {text: t, never: "delivered(host.report) and host.STATE"}\n'
    for host, state, broken in (("host_sleeps", "asleep", True), ("host_forgets", "idle", False)):
        verdict = verdict_on(among(host) + asks.replace("STATE", state), tmp_path)
        assert ("broken-requirement:awake" in errors(verdict)) == broken


ACTING = """
device: d
chips:
  hub:
    states: {{off: {{rest: true}}, on: {{rest: true}}, leaving: {{}}}}
    rules:
      starts: {{in: off, on: {comes}, to: on}}
      leaves: {{in: on, on: {goes}, to: leaving}}
      ends: {{in: leaving, after: 1 s, to: off}}
actors: {{who: {line}}}
requirements: {{R: {{text: t, {asks}}}}}
"""


@pytest.mark.parametrize(
    ("file", "comes", "goes", "asks", "steps"),
    [
        # Contact is made again while the hub still sees to the loss: it has missed it.
        ("cable_bounces", "plugged", "unplugged", "whenever: who.seated, then: hub.on", 4),
        ("cable_charges", "powered", "unpowered", "never: hub.on and not who.in_host", 1),
        ("user_holds", "press", "release", "whenever: hub.on, then: hub.off", 1),
    ],
)
def test_an_actor_breaks_what_is_taken_for_granted(
    file: str, comes: str, goes: str, asks: str, steps: int, tmp_path: Path
) -> None:
    """In the fewest steps."""
    text = ACTING.format(comes=comes, goes=goes, line=LINE_OF[file], asks=asks)
    (finding,) = verdict_on(text, tmp_path).findings
    assert (finding.id, finding.steps) == ("broken-requirement:R", steps)


def test_who_walks_off_takes_the_radio_along(tmp_path: Path) -> None:
    """What is under way is lost, and only because of that: the tile sends by itself, so that it can
    wait for room.
    """
    text = f"""
device: d
chips:
  tile: {{states: {{s: {{rest: true}}}}, rules: [{{send: [press]}}]}}
  hub: {{states: {{s: {{rest: true}}}}, discards: [press]}}
actors:
  walker: {LINE_OF["radio_away"]}
links:
  air: {{from: tile, to: hub, medium: radio, carries: [press], when_full: wait, up_when: UP}}
requirements: {{R: {{text: t, never: dropped(air.press)}}}}
"""
    assert errors(verdict_on(text.replace("UP", "walker.near"), tmp_path)) == {
        "broken-requirement:R"
    }
    assert errors(verdict_on(text.replace("UP", "walker.near or true"), tmp_path)) == set()
