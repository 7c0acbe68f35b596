"""What checks may ask of an engine, and what every engine needs."""
