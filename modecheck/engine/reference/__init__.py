"""The interpreter of a step: the definition of what a product does."""
