"""A small device for the tests of the command line: one policy is sound, the other is not."""

from __future__ import annotations

SAMPLE = """\
device: sample
options:
  on_unplug: [stay, fall_back]
  brightness: [low, high]
chips:
  hub:
    states: {wired_up: {rest: true}, radio_up: {rest: true}}
    variables: {lit: true, bright: bool}
    rules:
      unplug:
        in: wired_up
        do: [lit = on_unplug == stay, bright = brightness == high]
        to: radio_up
        text: is pulled out
      plug: {in: radio_up, do: lit = true, to: wired_up}
modes: {wired: hub.wired_up, radio: hub.radio_up}
requirements:
  never_dark: {text: The lamp is always lit, always: hub.lit}
"""
"""With fall_back the lamp goes out one step after the start."""

UNSOUND = ("--option", "on_unplug=fall_back")
BROKEN = "broken-requirement:never_dark"
