"""A rule as it is written, in one sentence."""

from __future__ import annotations

from modecheck.editor.tree_parts import texts_in
from modecheck.model.yaml_nodes import MappingNode, ScalarNode

WHEN = {
    "in": "in {}", "on": "on {}", "after": "after {}", "period": "every {}",
    "expires": "when {} expires", "if": "if {}",
}  # fmt: skip
WHAT = {
    "do": "sets {}", "send": "sends {}", "signal": "signals {}", "start": "starts {}",
    "stop": "stops {}", "to": "goes to {}",
}  # fmt: skip


def rule_in_words(title: str, rule: MappingNode) -> str:
    """When it is taken, and what it does then."""
    when, what = _phrases(rule, WHEN), _phrases(rule, WHAT)
    if rule.get("choose") is not None:
        what.append("chooses a branch")
    text = rule.get("text")
    told = f" ({' '.join(text.text.split())})" if isinstance(text, ScalarNode) else ""
    sentence = f"{' '.join(when) or 'at any time'}: {', '.join(what) or 'nothing else'}{told}"
    return f"{title}: {sentence}" if title else sentence


def _phrases(rule: MappingNode, words: dict[str, str]) -> list[str]:
    found = []
    for key, phrase in words.items():
        texts = [f"`{' '.join(text.split())}`" for text in texts_in(rule.get(key))]
        if texts:
            joined = " to ".join(texts) if key == "after" else " or ".join(texts)
            found.append(phrase.format(", ".join(texts) if key in WHAT else joined))
    return found
