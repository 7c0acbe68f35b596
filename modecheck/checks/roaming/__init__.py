"""Random runs: what is checked in them, how a run to a fault is shortened, and what was seen."""
