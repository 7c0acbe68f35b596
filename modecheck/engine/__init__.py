"""Explorers of a product. The plain interpreter is the reference for every faster engine."""
