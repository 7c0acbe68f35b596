"""The families of changes that are tried, one module each, and the order in which they are."""
