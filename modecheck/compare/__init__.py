"""Compares the behaviour of two devices: labelled systems, their equivalence, and differences."""
