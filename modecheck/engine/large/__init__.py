"""Products too large to keep their transitions: searches that make them again."""
