"""Searches that share no code with those of the engine, slow and plain, to compare with."""
