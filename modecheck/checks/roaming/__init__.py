"""Random runs: what is watched in them, how a fault is made short, and what was seen."""
