"""Timed devices of any size: Fischer's protocol, and a window beside a poll."""

from __future__ import annotations

FISCHER_PROCESS = """\
  p{own}:
    states:
      idle: {{rules: [{{if: lock.holder == 0, to: announcing}}]}}
      announcing: {{rules: [{{after: [0 ms, {a} ms], signal: p{own}_writes, to: watching}}]}}
      watching:
        rules:
          - {{after: ["{b} ms", forever], if: lock.holder == {own}, to: inside}}
          - {{after: ["{b} ms", forever], if: lock.holder != {own}, to: idle}}
      inside: {{rules: [{{signal: frees, to: idle}}]}}
"""


def fischer(n: int, a: int, b: int) -> str:
    """Fischer's mutual exclusion (Lamport, "A fast mutual exclusion algorithm", 1987, tells it):
    each of `n` writes its number within `a` ms, and looks again no sooner than `b` ms later.
    """
    writes = "".join(f"      - {{on: p{k}_writes, do: holder = {k}}}\n" for k in range(1, n + 1))
    both = [
        f"p{k}.state == inside and p{m}.state == inside"
        for k in range(1, n + 1)
        for m in range(k + 1, n + 1)
    ]
    return (
        "device: Fischer's protocol\nclock: {tick: 1 ms}\nchips:\n"
        f"  lock:\n    variables: {{holder: {{range: [0, {n}]}}}}\n    states: [only]\n"
        f"    rules:\n{writes}      - {{on: frees, do: holder = 0}}\n"
        + "".join(FISCHER_PROCESS.format(own=k, a=a, b=b) for k in range(1, n + 1))
        + "requirements:\n  ONE: {text: two are in at once, never: "
        + " or ".join(f"({one})" for one in both)
        + "}\n"
    )


WINDOW = """\
device: a pairing window beside a poll
clock: {{tick: 1 ms}}
chips:
  hub:
    timers: {{nobody: {asleep}}}
    states:
      idle: {{rest: true}}
      pairing:
        rules:
          - {{after: {window}, to: idle}}
          - {{on: code, to: paired}}
      paired: {{rest: true}}
      wired: {{rules: [{{period: 1 ms, if: player.state == plugged, send: [report]}}]}}
      dark: {{rest: true}}
    rules:
      - {{in: [idle, paired], on: press, start: nobody, to: pairing}}
      - {{in: [idle, paired, pairing], on: plug, stop: nobody, to: wired}}
      - {{in: wired, on: unplug, to: idle}}
      - {{in: [idle, paired], expires: nobody, to: dark}}
    discards: [code]
  tile:
    states:
      quiet: {{rules: [{{on: wake, to: bouncing}}]}}
      bouncing: {{rules: [{{after: 5 ms, send: [code], to: quiet}}]}}
  laptop:
    states: [on_desk]
    rules: [{{on: report}}]
actors:
  player:
    states: [apart, plugged]
    rules:
      - {{in: apart, signal: press}}
      - {{in: apart, signal: wake}}
      - {{in: apart, signal: plug, to: plugged}}
      - {{in: plugged, signal: unplug, to: apart}}
links:
  air: {{from: tile, to: hub, medium: radio, carries: [code], delay: [0 ms, 1 ms]}}
  usb: {{from: hub, to: laptop, medium: usb, carries: [report], delay: [0 ms, 1 ms], capacity: 2}}
modes:
  radio: hub.state == paired
  wired: hub.state == wired
"""


def window_beside_poll(window: str = "30 s", asleep: str = "10 min") -> str:
    """Invented: a hub whose pairing window is open for long, that polls each millisecond on a
    cable, and that goes dark when nobody has used it for longer still.
    """
    return WINDOW.format(window=window, asleep=asleep)
