"""The model on the bench: logs of a device held against it, and walks through it by hand."""
