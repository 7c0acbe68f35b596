"""Scenarios: what was found, told step by step, and proved by replaying it."""
