"""Scenarios: what was found, described step by step and verified by replaying it."""
