"""A log compared with a device, as JSON."""

from __future__ import annotations

from modecheck.bench.log_comparison import LogComparison
from modecheck.bench.log_lines import RecordableStep
from modecheck.product.ir import Product
from modecheck.report.as_json import Json, notes_as_json


def comparison_as_json(compared: LogComparison) -> Json:
    """`refused`, `allowed` and `states` describe the first line that has no explanation."""
    product, followed = compared.product, compared.followed
    told = followed.refused is not None
    chips = product.chips
    return {
        "device": product.device.name,
        "file": product.device.file,
        "notes": notes_as_json(product.device),
        "options": dict(product.device.variant),
        "log": compared.log.path,
        "recorded": [chips[number].name for number in compared.recorded],
        "lines": len(compared.log.order),
        "answer": compared.answer,
        "complete": followed.whole,
        "explanations_at_most": followed.most,
        "refused": _refused(compared, followed.refused),
        "allowed": [_seen(product, seen) for seen in followed.allowed] if told else [],
        "states": {
            chips[number].name: [chips[number].leaves[leaf] for leaf in sorted(leaves)]
            for number, leaves in (followed.states.items() if told else ())
        },
    }


def _refused(compared: LogComparison, refused: int | None) -> Json | None:
    if refused is None:
        return None
    log = compared.log
    return {
        "line": log.rows[refused],
        "text": log.text_of(refused),
        "said": log.lines[log.order[refused]].said,
    }


def _seen(product: Product, seen: RecordableStep) -> Json:
    chip = product.chips[seen.chip]
    return {
        "chip": chip.name,
        "event": seen.event,
        "link": seen.link or None,
        "value": seen.value,
        "state": chip.leaves[seen.leaf],
    }
