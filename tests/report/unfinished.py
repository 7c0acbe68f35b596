"""An unfinished device, invented: many findings that have few causes."""

from __future__ import annotations

from pathlib import Path

FILES = {
    "tile.yaml": """\
chip: tile
states: {docked: {rest: true}, apart: {rest: true}}
rules:
  lift: {in: docked, on: step, to: apart}
  put: {in: apart, on: step, to: docked}
""",
    "device.yaml": """\
device: unfinished pedal
chips:
  mcu:
    states: {idle: {}, deciding: {}, wired: {}, calling: {}, radio: {}, saving: {}, dim: {}}
    rules:
      decide: {in: idle, to: deciding}
      cable: {in: deciding, to: wired}
      call: {in: [deciding, wired], to: calling}
      reach: {in: calling, to: radio}
      save: {in: radio, to: saving}
      fade: {in: saving, to: dim}
      wake: {in: dim, to: idle}
      full: {in: radio, on: battery_full, to: saving}
  left: {file: tile.yaml}
  right: {file: tile.yaml}
actors:
  host:
    states: [here]
    rules:
      configure: {send: [usb_configured]}
      charge: {send: [battery_full]}
  player:
    states: [here]
    rules:
      step: {signal: [step]}
      tune: {send: [tune via to_left]}
      tune_right: {send: [tune via to_right]}
links:
  usb: {from: host, to: mcu, when_full: drop_new, carries: [usb_configured, battery_full]}
  to_left: {from: player, to: left, when_full: drop_new, carries: [tune]}
  to_right: {from: player, to: right, when_full: drop_new, carries: [tune]}
requirements:
  dims: {text: The pedal dims again and again, eventually: mcu.dim}
  awake: {text: The pedal never calls, never: mcu.calling}
""",
}


def unfinished(folder: Path) -> Path:
    """Its device file, written into a folder."""
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "device.yaml"
