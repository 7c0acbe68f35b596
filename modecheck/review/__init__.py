"""A change of a device reviewed: text, findings, behaviour, and what to test and certify again."""
