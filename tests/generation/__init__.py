"""Random devices, written as YAML so that the reader is exercised along with what follows it."""
