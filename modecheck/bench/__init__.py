"""The model on the bench: logs of a device compared with it, and walks through it by hand."""
