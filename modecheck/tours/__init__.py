"""Bench tests: walks that take every action, and words that tell states apart."""
