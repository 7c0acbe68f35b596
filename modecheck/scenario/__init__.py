"""Scenarios: what was found, replayed once and described step by step."""
