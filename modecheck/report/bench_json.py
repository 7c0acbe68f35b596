"""Bench tests as JSON, for test rigs and scripts."""

from __future__ import annotations

from collections.abc import Sequence as Several

from modecheck.model.parts import Device
from modecheck.report.as_json import Json, notes_as_json
from modecheck.tours.chip_words import ChipWords
from modecheck.tours.own_machine import WhyNot
from modecheck.tours.plan import BenchStep, BenchTest, is_complete


def tests_as_json(device: Device, tests: Several[BenchTest]) -> Json:
    """The content of the checklist, and for each step all states, values, rules and labels."""
    return {
        **_head(device, complete=is_complete(tests)),
        "tests": [
            {
                "goal": test.goal,
                "facts": list(test.facts),
                "steps": test.steps,
                "new_starts": test.new_starts,
                "cost": test.cost,
                "no_test_costs_less_than": None if test.stopped_by else test.bound,
                "shortest": test.shortest,
                "left_out": list(test.left_out),
                "stopped_by": test.stopped_by or None,
                "sequences": [
                    [
                        _step(test, number, step)
                        for number, step in enumerate(sequence.steps, start=sequence.first)
                    ]
                    for sequence in test.sequences
                ],
            }
            for test in tests
        ],
    }


def _head(device: Device, *, complete: bool) -> Json:
    return {
        "device": device.name,
        "file": device.file,
        "notes": notes_as_json(device),
        "options": device.variant,
        "complete": complete,
    }


def _step(test: BenchTest, number: int, step: BenchStep) -> Json:
    return {
        "number": number,
        "kind": step.kind,
        "do": step.do,
        "early": step.early,
        "happens": list(step.happens),
        "see": {
            "modes": list(step.see.modes),
            "changed": list(step.see.changed),
            "received": list(step.see.received),
            "states": step.see.states,
            "values": step.see.values,
        },
        "may_also_lead_to": list(step.may_also),
        "then_go_on_behind_step": list(step.go_on),
        "may_go_wrong": list(step.may_fail),
        "waits": list(step.waits),
        "takes": list(step.takes),
        "labels": [test.product.labels[move.label].text for move in step.moves],
    }


def words_as_json(device: Device, chips: Several[ChipWords | WhyNot]) -> Json:
    """The test words for each chip, or why there are none."""
    return {
        **_head(device, complete=not any(isinstance(chip, WhyNot) for chip in chips)),
        "chips": [_words(chip) for chip in chips],
    }


def _words(chip: ChipWords | WhyNot) -> Json:
    if isinstance(chip, WhyNot):
        return {"chip": chip.chip, "why_not": list(chip.reasons)}
    return {
        "chip": chip.chip,
        "extra": chip.extra,
        "inputs": list(chip.inputs),
        "states": [list(states) for states in chip.states],
        "told_apart_by": [list(word) for word in chip.telling],
        "words": [
            [{"input": one.told, "answer": one.answer} for one in word] for word in chip.words
        ],
    }
