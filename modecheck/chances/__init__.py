"""Figures: a product as a Markov chain, and what can be computed from it."""
