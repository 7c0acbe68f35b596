"""The text of a `recoverable` requirement that is broken has no double negation."""

from __future__ import annotations

import pytest

from modecheck.checks.verdict import check
from tests.generation.devices import device_from

DEVICE = """
device: a tile that can only be switched off
chips:
  tile:
    states: {{on: {{rest: true}}, off: {{rest: true}}}}
    rules: [{{in: on, after: 1 s, to: off}}]
requirements:
  R: {{text: It comes back, recoverable: {condition}}}
"""


@pytest.mark.parametrize(
    ("condition", "said"),
    [
        ("tile.on", "tile.on can never become true"),
        ("not tile.off", "tile.off can never become false"),
        ("not (tile.off or tile.off)", "not (tile.off or tile.off) can never become true"),
    ],
)
def test_text_names_what_can_never_change(condition: str, said: str) -> None:
    """A negated name alone can never become false; any other condition can never become true."""
    verdict = check([device_from(DEVICE.format(condition=condition))])
    (finding,) = (one for one in verdict.findings if one.code == "broken-requirement")
    assert finding.text == f"It comes back: from here {said}"
