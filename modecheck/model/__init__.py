"""YAML text to a typed model: reading with places, expressions, chip instances, errors."""
