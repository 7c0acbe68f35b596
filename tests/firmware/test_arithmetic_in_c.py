"""Arithmetic comes out the same in C, also where 32 bits do not hold what is on the way to a value.

All values are invented; each rule failed once: in the compiler, or beside the model.
"""

from __future__ import annotations

from tests.firmware.made import cases_of, files_of, needs_compiler, proof_of
from tests.generation.devices import device_from

WIDE = """
device: wide values
chips:
  counter:
    variables:
      a: {range: [-100000, 100000], start: -100000}
      b: {range: [-100000, 100000], start: 99999}
      c: {range: [-2147483647, 2147483647], start: 2147483647}
      k: {range: [0, 2147483647], start: 2147483647}
      n: {range: [-10, 10]}
      l: {range: [-3, 3], list: 3, start: 1, persistent: true}
    states: {one: {rest: true}, two: {}, three: {}, four: {}, five: {}, six: {}}
    rules:
      least: {in: one, on: tap, do: "n = max(min(a * b, 10), -10)", to: two}
      part: {in: two, on: tap, do: ["n = a * b % 7 - a * b // 2000000000", "c = 5 - c"], to: three}
      sent: {in: three, on: tap, if: a * b < c + c, signal: [far((c + k) % 1000)], to: four}
      lowest: {in: four, on: tap, do: "n = (-k - 1) % min(n, -1) + (k + 1) // (k + 1)", to: five}
      same:
        {in: five, on: tap, do: ["n = -(-3 if n > 1 else -3) + -(-n)", "k = k + k - k"], to: six}
      item: {in: six, do: ["b = 0", "l[a * b] = l[b * a % 3] + 1", "c = k - c"], to: one}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
signals: {far: {range: [0, 999]}}
"""


@needs_compiler
def test_values_that_need_more_than_32_bits_on_the_way() -> None:
    """Products, sums, quotients, remainders, indices and values that are signalled. The opposite
    of one of two equal constants is no `--`, which C would read as another operator. The `c` of
    the last rule leaves its range, which the check of a debug build reports without losing bits.
    """
    (cases,) = cases_of(device_from(WIDE), ["counter"])
    proof = proof_of(cases, "switch")
    assert proof.differences == []
    assert proof.cases["signals"]
    assert proof.failing


ALWAYS = """
device: always
chips:
  hub:
    variables: {m: {range: [0, 9], list: 3}, k: {range: [0, 3]}, n: {range: [0, 9]}}
    states: {here: {rest: true}}
    rules:
      up: {on: tap, if: "m[k] >= 0 and n < 3 and m[k] < 2147483647 + 9", do: n += 1}
      down: {on: tap, if: "n == 3", do: "n = 0 if m[n] > -1 else 1"}
actors:
  foot: {states: [here], rules: [{signal: tap}]}
"""


def test_a_comparison_that_always_holds_is_none_in_c() -> None:
    """Compilers warn of it (-Wtype-limits, which -Wextra has), also behind an index."""
    (cases,) = cases_of(device_from(ALWAYS), ["hub"], 1)
    _, files = files_of(cases, "switch")
    assert "if (chip->n < 3) {" in files["hub.c"]
    assert "chip->n = 0;" in files["hub.c"]
