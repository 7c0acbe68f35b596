"""What pictures show, and that nothing in them overlaps, is cut, or differs from run to run."""
