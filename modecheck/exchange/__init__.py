"""Chips in open formats, written and read: SCXML, and a chip file as YAML text."""
