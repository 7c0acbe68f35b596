"""Expressions and assignments of the model keep their meaning in ECMAScript."""

from __future__ import annotations

from pathlib import Path

from modecheck.exchange.scxml_writing import scxml_of
from modecheck.model.devices import read_device
from tests.exchange.scxml_machine import ScxmlMachine

COUNTING = """
device: an invented counter
chips:
  hub:
    variables:
      n: {range: [-7, 7], start: -7}
      m: {range: [-7, 7], start: 3}
      quotient: {range: [-9, 9]}
      rest: {range: [-9, 9]}
      other: {range: [-9, 9]}
      mixed: {range: [-99, 99]}
      truth: bool
      word: {one_of: [low, high]}
    states: {here: {rest: true}}
    rules:
      judge:
        on: step
        do:
          - quotient = n // 3
          - rest = n % 3
          - other = n % -3
          - mixed = n - (m - 1) * 2 - -n + min(n, m, 0) * max(n, 1)
          - truth = (not n > 0) == (m in [1, 3]) or n == 5 and not (m != 3 or n < 2)
          - word = (low if n > 2 else high) if n > 0 else low
          - n = n + 1 if n < 7 else -7
      exchange: {on: swap, do: "n, m = m, n"}
      follow: {on: shift, do: "n, m, other = min(n + 1, 7), n, m"}
actors:
  foot: {states: [here], rules: [{signal: step}, {signal: swap}, {signal: shift}]}
"""


def machine(folder: Path) -> ScxmlMachine:
    (folder / "device.yaml").write_text(COUNTING, encoding="utf-8")
    return ScxmlMachine(scxml_of(read_device(str(folder / "device.yaml")), "hub").text)


def test_arithmetic_is_that_of_the_model(tmp_path: Path) -> None:
    """Quotients round down and remainders have the sign of the divisor, as in Python (the guide's
    words), where those of ECMAScript do not.
    """
    hub = machine(tmp_path)
    for n in range(-7, 8):
        hub.give("step")
        assert hub.value("quotient") == n // 3
        assert hub.value("rest") == n % 3
        assert hub.value("other") == n % -3
        assert hub.value("mixed") == n - 2 * 2 - -n + min(n, 3, 0) * max(n, 1)
        assert hub.value("truth") is ((not n > 0) or (n == 5))
        assert hub.value("word") == ("high" if n in (1, 2) else "low")


def test_what_is_assigned_together_is_judged_before(tmp_path: Path) -> None:
    """In an order in which nothing is read after it was written, or over variables for it."""
    hub = machine(tmp_path)
    hub.give("swap")
    assert (hub.value("n"), hub.value("m")) == (3, -7)
    hub.give("shift")
    assert (hub.value("n"), hub.value("m"), hub.value("other")) == (4, 3, -7)
